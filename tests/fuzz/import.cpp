#include "import.hpp"

#include <memory>

#include "nocktrail/error.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/transfer.hpp"

namespace nocktrail::fuzz {
namespace {

std::unique_ptr<logbook::Logbook> fresh(const std::string& name) {
  const std::filesystem::path file = scratch_folder() / name;
  for (const char* ending : {"", "-wal", "-shm", "-journal"}) {
    std::filesystem::remove(file.string() + ending);
  }
  return std::make_unique<logbook::Logbook>(file);
}

void ask(const logbook::Logbook& book) {
  const auto asked = [](const auto& question) {
    try {
      static_cast<void>(question());
    } catch (const BadInput& fault) {
      require_one_line(fault);
    }
  };
  asked([&] { return logbook::shots(book, {}, true); });
  asked([&] { return logbook::setups(book, {}); });
  asked([&] { return logbook::liked(book, {}); });
  asked([&] { return logbook::notes(book, {}); });
  asked([&] { return logbook::before_date(book, "2026-05-30", ""); });
}

}  // namespace

void check_import(const std::function<void(logbook::Logbook&)>& import) {
  static std::unique_ptr<logbook::Logbook> book = fresh("book.sqlite");
  static const std::string empty = logbook::json_text(*book);
  try {
    import(*book);
  } catch (const BadInput& fault) {
    require_one_line(fault);
    require(logbook::json_text(*book) == empty, "a refused import left something behind");
    return;
  }
  ask(*book);
  const std::string once = logbook::json_text(*book);
  const std::unique_ptr<logbook::Logbook> second = fresh("second.sqlite");
  logbook::import_json(*second, scratch_file("again.json", once));
  require(logbook::json_text(*second) == once, "a logbook changes on its way through JSON");
  book = fresh("book.sqlite");
}

}  // namespace nocktrail::fuzz
