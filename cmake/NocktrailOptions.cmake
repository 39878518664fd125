# nocktrail_options(target [TESTS]): the warnings and sanitizers of the project's own code. Tests
# only link the sanitizers: what is watched is the library, and compiling takes half the time.
# PRIVATE throughout, so that nothing of it reaches those who link the library.
function(nocktrail_options target)
  target_compile_options(${target} PRIVATE
    -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wdouble-promotion
    -Wold-style-cast -Wformat=2 -Wundef -ffp-contract=off)
  if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
    target_compile_options(${target} PRIVATE -Wduplicated-cond -Wlogical-op)
  endif()
  if(NOCKTRAIL_WARNINGS_AS_ERRORS)
    target_compile_options(${target} PRIVATE -Werror)
  endif()
  if(NOCKTRAIL_SANITIZE)
    target_link_options(${target} PRIVATE -fsanitize=address,undefined)
    # Eigen allocates in another way where it sees the sanitizer; a matrix made in the library and
    # freed in a test needs one way on both sides.
    target_compile_definitions(${target} PRIVATE EIGEN_MALLOC_ALREADY_ALIGNED=0)
  endif()
  if(NOCKTRAIL_SANITIZE AND NOT "TESTS" IN_LIST ARGN)
    target_compile_options(${target} PRIVATE
      -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer)
    target_compile_definitions(${target} PRIVATE _GLIBCXX_ASSERTIONS)
    if(CMAKE_CXX_COMPILER_ID MATCHES "Clang")
      # The one undefined conversion that clang's -fsanitize=undefined leaves out, and the one that
      # numbers from outside run into.
      target_compile_options(${target} PRIVATE
        -fsanitize=float-cast-overflow -fno-sanitize-recover=float-cast-overflow)
    endif()
  endif()
  if(NOCKTRAIL_FUZZ AND NOT "TESTS" IN_LIST ARGN)
    # A relative path, so that the compiler's cache serves a clone elsewhere too.
    file(RELATIVE_PATH instrumented ${CMAKE_BINARY_DIR}
      ${PROJECT_SOURCE_DIR}/tests/fuzz/instrumented.txt)
    target_compile_options(${target} PRIVATE
      -fsanitize=fuzzer-no-link -fsanitize-coverage-allowlist=${instrumented})
  endif()
  if(NOCKTRAIL_TSAN)
    target_link_options(${target} PRIVATE -fsanitize=thread)
    target_compile_options(${target} PRIVATE -fsanitize=thread -fno-omit-frame-pointer)
  endif()
  if(NOCKTRAIL_COVERAGE)
    target_link_options(${target} PRIVATE --coverage)
    if(NOT "TESTS" IN_LIST ARGN)
      target_compile_options(${target} PRIVATE --coverage -fprofile-update=atomic)
    endif()
  endif()
endfunction()
