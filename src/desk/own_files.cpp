#include "nocktrail/desk/own_files.hpp"

#include "nocktrail/error.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/session/facts_file.hpp"

namespace nocktrail::desk {

session::OutputCheck own_files() {
  session::OutputCheck check;
  if (const std::filesystem::path phones = session::default_phones_file(); !phones.empty()) {
    check.keep(phones, "your phones file");
  }
  try {
    check.keep_logbook(logbook::default_file());
  } catch (const BadInput&) {
    // Without a home there is none to keep.
  }
  return check;
}

}  // namespace nocktrail::desk
