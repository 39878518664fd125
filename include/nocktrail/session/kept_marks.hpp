// What a person marked in the clips of a session: one small file for each, in the format that
// `read --marks` takes, named after the clip's content, so that it follows the clip through renames
// and moves.
//
//   FOLDER/nocktrail-marks/SHA256.json         the marks
//   FOLDER/nocktrail-marks/SHA256.json.before  those that they took the place of
//
// It is work of somebody's hands: results can be cleared away and are made again, marks cannot.
// So they lie in a folder of their own, and nothing here removes one for good.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>

#include "nocktrail/marks.hpp"
#include "nocktrail/session/session.hpp"

namespace nocktrail::session {

inline constexpr const char* kMarksFolder = "nocktrail-marks";

// ClipRecord::dropped of a clip that is read by marks, until its archer says that it counts.
inline constexpr const char* kMarksDoNotCount = "marked by hand, and not said to count";

// Where they lie: beside the clips; of results that were put elsewhere, in those.
std::filesystem::path marks_folder(const std::filesystem::path& folder,
                                   const ReadSessionOptions& options);

// Throws BadInput, which begins with "marks: ", for marks that are not of the clip in that file
// with that content: of another hash, frames or places that it does not have. UnreadableClip.
void check_marks_of(const std::filesystem::path& clip, const std::string& sha256,
                    const Marks& marks);

class KeptMarks {
 public:
  // `folder` as of marks_folder(), which need not be there; no link in its place or in it is
  // followed.
  explicit KeptMarks(std::filesystem::path folder) : folder_(std::move(folder)) {}

  // Of one clip.
  struct Found {
    std::optional<Marks> marks;  // none: nothing is marked, or the file has a fault
    std::string fault;           // why a file that is there is not taken, one line
    std::string version;         // of what the file holds; empty: there is none
  };
  Found of(const std::string& sha256) const;

  // Keeps the marks, or puts those that are there away where they are none, and keeps what was
  // there beside them. `was`: the version that the one who asks believes stands. False, with
  // nothing written, where another does. Throws BadInput for marks in too few frames for a reading,
  // and where they cannot be written.
  bool keep(const std::string& sha256, const std::optional<Marks>& marks,
            const std::string& was) const;

  // What there is, to see whether it changed: each file's name and a stamp of its content.
  std::map<std::filesystem::path, std::string> stamps() const;

 private:
  bool there() const;

  std::filesystem::path folder_;
};

}  // namespace nocktrail::session
