#include "nocktrail/desk/own_files.hpp"

#include "nocktrail/error.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/session/facts_file.hpp"

namespace nocktrail::desk {

session::OutputCheck own_files() {
  session::OutputCheck check;
  if (const session::ArcherFiles archer = session::default_archer_files(); !archer.phones.empty()) {
    check.keep(archer.profile, "your profile");
    check.keep(archer.phones, "your phones file");
  }
  try {
    check.keep_logbook(logbook::default_file());
  } catch (const BadInput&) {
    // Without a home there is none to keep.
  }
  return check;
}

}  // namespace nocktrail::desk
