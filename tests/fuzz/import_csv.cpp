// Bytes as the CSV export of a logbook: its files one after the other, each behind a line
// "@@ NAME" that no CSV of ours begins with.
#include "import.hpp"
#include "nocktrail/logbook/transfer.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  namespace fs = std::filesystem;
  constexpr std::string_view kMark = "@@ ";
  const fs::path folder = fuzz::scratch_folder() / "export";
  fs::remove_all(folder);
  fs::create_directory(folder);
  std::string_view rest = fuzz::text_of(data, size);
  while (rest.starts_with(kMark)) {
    rest.remove_prefix(kMark.size());
    const std::size_t end_of_name = rest.find('\n');
    const std::string_view name = rest.substr(0, end_of_name);
    rest.remove_prefix(end_of_name == std::string_view::npos ? rest.size() : end_of_name + 1);
    const std::size_t next = rest.find("\n@@ ");
    const std::string_view bytes = rest.substr(0, next == std::string_view::npos ? next : next + 1);
    rest.remove_prefix(bytes.size());
    if (!name.empty() && name.size() < 100 &&
        name.find_first_not_of("abcdefghijklmnopqrstuvwxyz_.") == std::string_view::npos &&
        name.front() != '.') {
      fuzz::scratch_file("export/" + std::string(name), bytes);
    }
  }
  fuzz::check_import([&](logbook::Logbook& book) { logbook::import_csv(book, folder); });
  return 0;
}
