# Writes OUT, a source file that holds the files of the folder FROM (src/desk/demo_files.hpp).
include(${CMAKE_CURRENT_LIST_DIR}/../../cmake/embedded_bytes.cmake)
set(text "// Made from src/desk/demo when the program is built.\n#include \"demo_files.hpp\"\n\n")
string(APPEND text "namespace nocktrail::desk {\nnamespace {\n\nconstexpr DemoFile kFiles[] = {\n")
file(GLOB_RECURSE files RELATIVE ${FROM} ${FROM}/*)
list(SORT files)
foreach(file IN LISTS files)
  embedded_bytes(${FROM}/${file} bytes)
  string(APPEND text "    {\"${file}\",\n     ${bytes}},\n")
endforeach()
string(APPEND text "};\n\n}  // namespace\n\nstd::span<const DemoFile> demo_files() {\n"
  "  return kFiles;\n}\n\n}  // namespace nocktrail::desk\n")
file(WRITE ${OUT} "${text}")
