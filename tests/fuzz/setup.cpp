// Bytes as the set-up file of `effects`.
#include <cmath>

#include "fuzz.hpp"
#include "nocktrail/arrow/setup_file.hpp"
#include "nocktrail/error.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  try {
    const arrow::Setup setup = arrow::parse_setup(fuzz::text_of(data, size), "setup.toml");
    fuzz::require(std::isfinite(arrow::mass_properties(setup.arrow).mass_kg),
                  "an arrow of no finite mass");
  } catch (const BadInput& fault) {
    fuzz::require_one_line(fault);
  }
  return 0;
}
