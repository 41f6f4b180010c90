#include "stages/report/page_template.h"

#include <stdexcept>

#include "pipeline/base/files/cache.h"

namespace lookdown::report {

std::string filled_page(const std::map<std::string, std::string>& texts) {
  return filled_page(embedded::page_html, embedded::page_js, texts);
}

std::string filled_page(const char* html_text, const char* scripts,
                        const std::map<std::string, std::string>& texts) {
  std::map<std::string, std::string> parts = texts;
  parts["VIEWER_STYLE"] = embedded::viewer_css;
  parts["VIEWER"] = embedded::viewer_js;
  parts["STYLE"] = embedded::page_css;
  parts["SCRIPTS"] = scripts;
  // The page's content policy runs only what bears this mark, which nothing on the card can know: it hangs on
  // every byte shown.
  std::string everything;
  for (const auto& [name, text] : texts) everything += text;
  parts["NONCE"] = digest(everything);

  // One pass over the template, so that a marker inside a text from the card stays text.
  const std::string html = html_text;
  std::string page;
  std::size_t at = 0;
  while (true) {
    const std::size_t open = html.find("{{", at);
    page.append(html, at, open == std::string::npos ? std::string::npos : open - at);
    if (open == std::string::npos) return page;
    const std::size_t close = html.find("}}", open);
    const auto part = parts.find(html.substr(open + 2, close - open - 2));
    if (part == parts.end()) throw std::logic_error("page.html asks for an unknown part");
    page += part->second;
    at = close + 2;
  }
}

}  // namespace lookdown::report
