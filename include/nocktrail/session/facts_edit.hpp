// What a page may change of the hand-written files: a shot is left out or taken back, a set-up is
// begun. Everything else in them stays as its archer wrote it, and the version before is kept
// beside the file, as NAME.before.
#pragma once

#include <filesystem>
#include <optional>
#include <span>
#include <string>

#include "nocktrail/session/facts_file.hpp"

namespace nocktrail::session {

struct ClipPlace {
  std::string setup;  // "." for the session's own folder
  std::string clip;   // the file's name
  int shot = 0;       // from 1: one shot alone; 0: the whole clip
};

enum class LeaveOut {
  done,
  changed,  // it is not (any more) as the one who asks believes: nothing was written
  no_such_clip
};

// Leaves the clip out for `reason`, or takes it back where that is empty, in the file that speaks
// of it already, else in the one beside it. `was`: the reason that stands now, as far as the one
// who asks knows; empty: it counts. Throws BadInput, one line, where a file cannot be changed in
// place or written, or the hand-written files have faults.
LeaveOut leave_out(const std::filesystem::path& folder, const ClipPlace& place,
                   const std::optional<std::string>& reason, const std::optional<std::string>& was);

// Whether session.toml speaks of a clip by this name alone while another set-up has one of it: with
// a second one of the name nobody could say which is meant, and the session would stop at that.
bool would_be_confused(const std::filesystem::path& folder, const ClipPlace& place);

// A fact that may be told when a set-up is begun.
struct ChangeableFact {
  const char* field;    // "bow.brace_height", as in the file
  const char* words;    // "Brace height"
  const char* example;  // as people type it
};
std::span<const ChangeableFact> changeable_facts();

struct NewSetup {
  std::string name;   // words of its archer; the folder's name is made of them
  std::string field;  // of changeable_facts(); empty: nothing changes
  std::string value;
  std::string notes;
  bool gather = false;  // its archer wants the clips in the session's own folder put into a set-up
};

// The folder that those clips are put into.
inline constexpr const char* kGathered = "1-start";

// Makes a folder that comes after all set-ups that there are, with its setup.toml, and returns its
// name. Clips in the session's own folder would belong to no set-up then: with `gather` they are
// moved into kGathered first, all of them or none, else BadInput. Throws BadInput, one line, for a
// value that the file would not take, too. `archer` as for load().
std::string begin_setup(const std::filesystem::path& folder, const ArcherFiles& archer,
                        const NewSetup& wanted);

}  // namespace nocktrail::session
