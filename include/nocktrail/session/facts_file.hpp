// What the archer wrote by hand: session.toml of a session's folder and setup.toml of a set-up's.
// Field names and units are those of arrow/setup_file.hpp; every field is optional here. The files
// are only ever read, but for facts_edit.hpp.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::session {

inline constexpr const char* kSessionFile = "session.toml";
inline constexpr const char* kSetupFile = "setup.toml";

// What [clip."NAME"] says of one clip; what it does not say holds as for the set-up.
struct ClipTold {
  std::string name;   // "IMG_01.mp4", or with its set-up, "2-lower/IMG_01.mp4"
  int shot = 0;       // from 1, where "#2" behind the name means one shot alone; 0: the whole clip
  std::string field;  // for messages: file, line and table
  std::string dropped;  // the reason for leaving it out; empty: it counts
  Hand hand = Hand::unknown;
  std::optional<double> cant_deg;
  std::optional<double> focal_35mm;
  std::optional<double> capture_fps;
};

// The archer's phones by name, each with its focal length (35 mm equivalent, by the diagonal).
using Phones = std::map<std::string, double>;

// Reads phones.toml: a table for each phone, ["NAME"], with picture_width or focal_35mm. No
// such file, no phones. Throws BadInput like parse_facts.
Phones read_phones(const std::filesystem::path& path);

// What an archer writes once for all sessions; an empty path: not looked at.
struct ArcherFiles {
  std::filesystem::path profile;  // profile.toml: facts that hold where a session leaves them open
  std::filesystem::path phones;   // phones.toml
};

// Both in $XDG_CONFIG_HOME/nocktrail, or ~/.config/nocktrail where that is not set or not absolute
// (XDG Base Directory Specification 0.8); empty without a home.
ArcherFiles default_archer_files();

struct FactsTold {
  std::string name;     // of the session; only session.toml may give one
  std::string made_up;  // likewise: what was never shot
  tune::SetupFacts facts;
  std::vector<ClipTold> clips;
};

// A profile has neither name, notes, clips nor an accepted nock height, and does not say whether an
// arrow is bare or fletched.
enum class FactsKind { session, setup, profile };

// Lays what the file says over `before` (for session.toml: nothing). What follows from a change is
// carried along unless the file says otherwise: a trimmed shaft makes the arrow that much shorter,
// and trim, tip, nock and fletching change the total mass, which is forgotten where the change of
// mass is not known. Notes, and the acceptance of a nock height, are not inherited.
//
// Throws BadInput, one line naming file, line and field: syntax; an unknown field, with the
// nearest known one; a value out of range or without its unit; fields that contradict one another.
FactsTold parse_facts(std::string_view toml, std::string_view source, FactsKind kind,
                      const tune::SetupFacts& before = {}, const Phones& phones = {});

// Reads profile.toml; empty when there is none. Throws BadInput like parse_facts.
std::optional<tune::SetupFacts> read_profile(const ArcherFiles& files);

// The facts of a session of its own facts `told`, over the archer's profile: what the profile says
// of another bow or arrow than the session's is left out whole, since half of one and half of the
// other would be neither. It is another one where the names differ, of an arrow also where the
// session says how long, heavy or stiff it is.
tune::SetupFacts beneath(const tune::SetupFacts& profile, const tune::SetupFacts& told);

// An annotated profile.toml.
std::string profile_template();

// An annotated session.toml, and what a setup.toml may look like in comments at its end.
std::string session_template();

}  // namespace nocktrail::session
