// Bytes as files.json among a session's results: whatever stands there, the folder can be worked
// in.
#include "fuzz.hpp"
#include "results.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  const std::filesystem::path index = fuzz::scratch_file("files.json", fuzz::text_of(data, size));
  session::Results results(index.parent_path(), true, {});
  fuzz::require(results.try_lock(), "the folder is locked");
  results.load_files();
  const std::filesystem::path clip = fuzz::scratch_file("abc", "abc");
  // FIPS 180-4, the example "abc" of NIST's example values.
  fuzz::require(
      results.sha256_of(clip) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
      "a wrong checksum");
  results.keep_files();
  return 0;
}
