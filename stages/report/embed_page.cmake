# Writes OUTPUT, a C++ source holding the page's files as string constants. SCRIPTS and STYLES are joined in the order given;
# the scripts share one function scope. VIEWER_SCRIPT and VIEWER_STYLE, a library's, come before them.
function(joined variable files)
  set(text "")
  foreach(file ${files})
    file(READ ${file} content)
    string(APPEND text "${content}\n")
  endforeach()
  set(${variable} "${text}" PARENT_SCOPE)
endfunction()

string(REPLACE "|" ";" SCRIPTS "${SCRIPTS}")
string(REPLACE "|" ";" BEFORE_AFTER_SCRIPTS "${BEFORE_AFTER_SCRIPTS}")
string(REPLACE "|" ";" STYLES "${STYLES}")
joined(html ${HTML})
joined(css "${STYLES}")
joined(js "${SCRIPTS}")
joined(before_after_html ${BEFORE_AFTER_HTML})
joined(before_after_js "${BEFORE_AFTER_SCRIPTS}")
# The library's buttons and markers are not used, and the page fetches nothing: its pictures, its map of lines and
# its line about itself (which THIRD_PARTY.md and the page's own words replace) stay out.
file(READ ${VIEWER_SCRIPT} viewer_js)
string(REGEX REPLACE "\n?//# sourceMappingURL=[^\n]*" "" viewer_js "${viewer_js}")
string(REGEX REPLACE "prefix:'<a href[^']*'" "prefix:''" viewer_js "${viewer_js}")
file(READ ${VIEWER_STYLE} viewer_css)
string(REGEX REPLACE "url\\([^)]*\\)" "none" viewer_css "${viewer_css}")
string(REGEX REPLACE "/\\*# sourceMappingURL=[^*]*\\*/" "" viewer_css "${viewer_css}")
set(viewer_notice "/* Leaflet, (c) 2010-2019 Vladimir Agafonkin, (c) 2010-2011 CloudMade; BSD-2-Clause: redistribution and use in source and binary forms, with or without modification, are permitted provided that this notice, the list of conditions and the disclaimer of the licence are kept. Provided as is, without warranty of any kind. */")
set(open "R\"page_text(")
set(close ")page_text\"")
file(WRITE ${OUTPUT}
  "#include \"stages/report/page_template.h\"\n"
  "namespace lookdown::report::embedded {\n"
  "const char* const page_html = ${open}${html}${close};\n"
  "const char* const viewer_css = ${open}${viewer_notice}\n${viewer_css}${close};\n"
  "const char* const viewer_js = ${open}${viewer_notice}\n${viewer_js}${close};\n"
  "const char* const page_css = ${open}${css}${close};\n"
  "const char* const page_js = ${open}(() => {\n'use strict';\n${js}})();\n${close};\n"
  "const char* const before_after_html = ${open}${before_after_html}${close};\n"
  "const char* const before_after_js = ${open}(() => {\n'use strict';\n${before_after_js}})();\n${close};\n"
  "}  // namespace lookdown::report::embedded\n")
