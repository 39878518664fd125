// What the fuzz targets share. A target is one function that takes any bytes and must come back:
// LLVMFuzzerTestOneInput (https://llvm.org/docs/LibFuzzer.html). tools/fuzz.sh builds them with
// libFuzzer; the tests "fuzz_replay_NAME" feed the same functions the kept inputs.
#pragma once

#include <cstddef>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace nocktrail::fuzz {

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
  return {reinterpret_cast<const char*>(data), size};
}

// Ends the program, as a crash does, when `holds` is false.
void require(bool holds, std::string_view what);

// A message for people is one line of sensible length.
void require_one_line(const std::exception& fault);

// A folder of this process in memory where there is such a place; removed at the end.
const std::filesystem::path& scratch_folder();

// The file of that name in the scratch folder, holding these bytes and nothing else.
std::filesystem::path scratch_file(const std::string& name, std::string_view bytes);

}  // namespace nocktrail::fuzz
