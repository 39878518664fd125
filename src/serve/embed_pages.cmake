# Writes OUT, a source file that holds the files of the folder FROM (src/serve/pages.hpp).
include(${CMAKE_CURRENT_LIST_DIR}/../../cmake/embedded_bytes.cmake)
set(text "// Made from src/serve/pages when the program is built.\n#include \"pages.hpp\"\n\n")
string(APPEND text "namespace nocktrail::serve {\nnamespace {\n\nconstexpr Page kPages[] = {\n")
set(html "text/html; charset=utf-8")
set(js "text/javascript; charset=utf-8")
set(css "text/css; charset=utf-8")
foreach(entry IN ITEMS "/|line.html" "/shot|shot.html" "/line.js|line.js" "/shot.js|shot.js"
    "/by-hand|by-hand.html"
    "/by-hand.js|by-hand.js" "/by-hand-picture.js|by-hand-picture.js" "/facts|facts.html" "/facts.js|facts.js" "/replay.js|replay.js" "/phone.js|phone.js" "/speech.js|speech.js" "/shared.js|shared.js" "/style.css|style.css")
  string(REPLACE "|" ";" entry "${entry}")
  list(GET entry 0 path)
  list(GET entry 1 file)
  cmake_path(GET file EXTENSION LAST_ONLY ending)
  string(SUBSTRING ${ending} 1 -1 kind)
  embedded_bytes(${FROM}/${file} bytes)
  string(APPEND text "    {\"${path}\", \"${${kind}}\",\n     ${bytes}},\n")
endforeach()
string(APPEND text "};\n\n}  // namespace\n\nconst Page* page_at(std::string_view path) {\n"
  "  for (const Page& page : kPages) {\n    if (path == page.path) {\n      return &page;\n    }\n  }\n"
  "  return nullptr;\n}\n\n}  // namespace nocktrail::serve\n")
file(WRITE ${OUT} "${text}")
