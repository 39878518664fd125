// Bytes as the JSON export of a logbook.
#include "import.hpp"
#include "nocktrail/logbook/transfer.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  const std::filesystem::path file = fuzz::scratch_file("import.json", fuzz::text_of(data, size));
  fuzz::check_import([&](logbook::Logbook& book) { logbook::import_json(book, file); });
  return 0;
}
