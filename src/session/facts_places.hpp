// The files that a form of facts is of, and what stands where in them. Private to the session.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "nocktrail/session/facts_form.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::session::form {

inline constexpr std::size_t kMostBytes = 20000;  // of notes; of anything else the file says less

// One hand-written file of a session, in the order in which they are laid over one another.
struct File {
  std::string setup;  // "." for session.toml
  std::filesystem::path path;
  std::string shown;
  std::string text;
};

std::string shown(const std::filesystem::path& path);

// As its archer knows it, from the session's folder on.
std::string name_of(const File& file);

// `clip`: the [clip] table that the form is of; empty: of the file itself.
std::vector<std::string> path_of(const std::string& field, const std::string& clip = {});

// The table that holds the last key of a path; empty where it is not there. Throws BadInput where
// something else is in its place.
std::optional<units::TomlTable> table_of(units::TomlTable root,
                                         const std::vector<std::string>& path);

// As its archer wrote it, whatever kind it is; empty where it is not there.
std::string value_of(units::TomlTable root, const std::vector<std::string>& path);

// The first fault of the files as they would be; `from` tells of which file it is.
struct Found {
  std::string setup;
  std::string words;
};
std::optional<Found> fault_of(const std::vector<File>& files, const ArcherFiles& archer);

// Which file a form is of, and of which [clip] table in it.
struct Place {
  std::size_t file = 0;
  std::string clip;  // empty: of the file itself

  std::span<const FactField> fields() const { return clip.empty() ? fact_fields() : clip_fields(); }
};

// A table that speaks of a clip, or would.
struct ClipTable {
  bool in_session = false;  // in session.toml, else in the set-up's own file
  std::string name;         // [clip."NAME"]
};
// Where `told` ("a.mp4", or "a.mp4#2" of one shot) may be spoken of, the first being where it is
// written where nothing speaks of it yet.
std::vector<ClipTable> tables_of_clip(const std::string& setup, const std::string& told);

bool tells(const File& file, const std::vector<std::string>& path);

struct Wanted {
  std::vector<File> files;
  std::size_t own = 0;        // the set-up's file
  std::vector<Place> places;  // of a clip
  Place place;
};

// Empty when there is no such set-up, or no such clip in it.
std::optional<Wanted> wanted(const std::filesystem::path& folder, const ArcherFiles& archer,
                             const std::string& setup, const std::string& clip);

}  // namespace nocktrail::session::form
