// The page's own files (page/), embedded into the library when it is built, so that the program needs no
// folder beside it.
#pragma once

#include <map>
#include <string>

namespace lookdown::report {

/// The whole page: page.html with style, scripts and the given JSON texts in their places. A text is put in
/// as it is, so it must be safe for its place (see json_for_page).
[[nodiscard]] std::string filled_page(const std::map<std::string, std::string>& texts);
/// The same for another page with scripts of its own.
[[nodiscard]] std::string filled_page(const char* html, const char* scripts,
                                      const std::map<std::string, std::string>& texts);

namespace embedded {
extern const char* const page_html;
extern const char* const viewer_css;  ///< of the library that shows large pictures
extern const char* const viewer_js;
extern const char* const page_css;
extern const char* const page_js;
extern const char* const before_after_html;
extern const char* const before_after_js;
}  // namespace embedded

}  // namespace lookdown::report
