// The logbook: every session, set-up, shot and reading an archer ever recorded, in one SQLite file.
//
// SI units and degrees as in tune/session_data.hpp; what was not told is NULL, never zero. A
// reading is kept for every version of the program that made it: a newer one is added and becomes
// the current one, the older stay. Each call is one transaction, so that a stop at any instant
// leaves the logbook as it was before the call or as it is after it. docs/logbook.md describes the
// tables.
//
// Everything here throws BadInput, one line naming the file and what to do, when the file cannot
// be used: locked by another process, read-only, on a full disk, damaged, not a logbook, or
// written by a newer version of the program. Nothing is changed then.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::logbook {

// $XDG_DATA_HOME/nocktrail/logbook.sqlite, or ~/.local/share/nocktrail/logbook.sqlite where that
// is not set or not absolute (XDG Base Directory Specification 0.8). Throws BadInput when there is
// no home directory either.
std::filesystem::path default_file();

enum class Access {
  write,  // makes the file and its folder when there is none, brings an old one up to date
  read,   // only an existing file; never changes one that is up to date
  copy    // a copy in memory of an existing file, brought up to date there; the file is only read
};

struct OpenOptions {
  Access access = Access::write;
  bool must_exist = false;     // of Access::write: a file that is not there is a slip
  int busy_timeout_ms = 5000;  // how long to wait for another process that is writing
  // Largest size in pages of 4096 bytes, 0 = as the disk allows.
  int max_pages = 0;
};

enum class NameKind { bow, arrow };

// A name that the logbook did not know, where it knew others of its kind.
struct NewName {
  NameKind kind = NameKind::bow;
  std::string name;
  std::string nearly_right;  // a known one that may have been meant; empty: none is near
};

// "bow "Hernon" is new to the logbook; nearly right: "Heron", if it is the same one".
std::string in_words(const NewName& name);

// What one call to record() did.
struct Recorded {
  int readings_added = 0;  // of new clips, or of old clips read anew with another result
  int rows_changed = 0;    // of all tables; 0: everything was known already
  bool forgotten = false;  // the session is one that its archer wants to see no more (forget.hpp)
  std::vector<NewName> new_names;  // each once
};

struct Note {
  std::string at;    // "2026-11-25" or "2026-11-25T10:30:00Z"; empty: now
  std::string text;  // must not be blank
  std::string bow;   // by name; empty: of no one bow
};

class Logbook {
 public:
  explicit Logbook(const std::filesystem::path& file, const OpenOptions& options = {});
  Logbook(Logbook&&) noexcept;
  Logbook& operator=(Logbook&&) noexcept;
  ~Logbook();

  const std::filesystem::path& file() const;

  // Records a session as it stands. A session is known by its folder (or, when that folder is gone
  // from the disk, by its clips: it was moved), a set-up by its name, a clip by the content of its
  // file. Recording the same twice changes nothing; a clip with another result gets a reading
  // more, a set-up with another judgement a verdict more. What is no longer in the folder stays,
  // marked as gone. A session without a clip that was never recorded leaves nothing, nor does
  // such a set-up.
  Recorded record(const tune::SessionRecord& session, const tune::SessionJudgement& judgement);

  // Throws BadInput for a blank text or a date that is none, naming the form it takes. Gives the
  // bow's name where it is a new one.
  std::optional<NewName> add_note(const Note& note);

  // Of the room itself (src/logbook).
  class Store;
  Store& store() { return *store_; }
  const Store& store() const { return *store_; }

 private:
  std::unique_ptr<Store> store_;
};

}  // namespace nocktrail::logbook
