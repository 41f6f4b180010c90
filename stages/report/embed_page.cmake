# Writes OUTPUT, a C++ source holding the page's files as string constants. SCRIPTS and STYLES are joined in the order given;
# the scripts share one function scope.
function(joined variable files)
  set(text "")
  foreach(file ${files})
    file(READ ${file} content)
    string(APPEND text "${content}\n")
  endforeach()
  set(${variable} "${text}" PARENT_SCOPE)
endfunction()

string(REPLACE "|" ";" SCRIPTS "${SCRIPTS}")
string(REPLACE "|" ";" STYLES "${STYLES}")
joined(html ${HTML})
joined(css "${STYLES}")
joined(js "${SCRIPTS}")
set(open "R\"page_text(")
set(close ")page_text\"")
file(WRITE ${OUTPUT}
  "#include \"stages/report/page_template.h\"\n"
  "namespace lookdown::report::embedded {\n"
  "const char* const page_html = ${open}${html}${close};\n"
  "const char* const page_css = ${open}${css}${close};\n"
  "const char* const page_js = ${open}(() => {\n'use strict';\n${js}})();\n${close};\n"
  "}  // namespace lookdown::report::embedded\n")
