# embedded_bytes(FILE VARIABLE): the file's bytes as a C++ expression, std::string_view("...", size).
function(embedded_bytes path variable)
  # Character by character as it is: no list, no escape of CMake's own.
  file(READ ${path} hex HEX)
  string(REGEX REPLACE "(................................)" "\\1\n" hex "${hex}")
  string(REGEX REPLACE "([0-9a-f][0-9a-f])" "\\\\x\\1" hex "${hex}")
  string(REGEX REPLACE "([^\n]+)" "     \"\\1\"" hex "${hex}")
  file(SIZE ${path} size)
  set(${variable} "std::string_view(\n${hex},\n     ${size})" PARENT_SCOPE)
endfunction()
