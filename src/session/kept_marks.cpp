#include "nocktrail/session/kept_marks.hpp"

#include <fmt/format.h>

#include <boost/crc.hpp>
#include <system_error>

#include "file_stamp.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/pipeline/read_marked.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

// As much as `read --marks` takes.
constexpr std::size_t kMostBytes = std::size_t{1} << 20U;
constexpr const char* kEnding = ".json";

std::string version_of(const std::string& bytes) {
  boost::crc_32_type crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return fmt::format("{:08x}-{}", crc.checksum(), bytes.size());
}

}  // namespace

fs::path marks_folder(const fs::path& folder, const ReadSessionOptions& options) {
  return options.results.empty() ? folder / kMarksFolder
                                 : results_folder(folder, options) / kMarksFolder;
}

bool KeptMarks::there() const {
  std::error_code error;
  return fs::is_directory(fs::symlink_status(folder_, error));
}

void check_marks_of(const fs::path& clip, const std::string& sha256, const Marks& marks) {
  check_marks(marks, media::Clip::open(clip).info(), sha256);
}

KeptMarks::Found KeptMarks::of(const std::string& sha256) const {
  Found found;
  if (!there()) {
    return found;
  }
  const std::string name = sha256 + kEnding;
  const std::string shown = rules::printable((folder_ / name).string());
  try {
    const std::optional<std::string> text = report::OwnFolder::open(folder_, false).content(name);
    std::error_code error;
    if (!text && fs::exists(fs::symlink_status(folder_ / name, error))) {
      found.version = "none of ours";
      throw BadInput(fmt::format(
          "{}: is no ordinary file of marks; remove it, or mark the clip again", shown));
    }
    if (text) {
      found.version = version_of(*text);
      if (text->size() > kMostBytes) {
        throw BadInput(fmt::format("{}: is larger than any file of marks", shown));
      }
      found.marks = report::marks_from_json(*text, shown);
    }
  } catch (const BadInput& problem) {
    found.fault = fmt::format("{}; until then the clip is read without", problem.what());
  }
  return found;
}

bool KeptMarks::keep(const std::string& sha256, const std::optional<Marks>& marks,
                     const std::string& was) const {
  if (const std::string missing = marks ? missing_marks(*marks) : ""; !missing.empty()) {
    throw BadInput("marks: " + missing);
  }
  if (of(sha256).version != was) {
    return false;
  }
  if (was.empty() && !marks) {
    return true;
  }
  const report::OwnFolder folder = report::OwnFolder::open(folder_, false);
  const std::string name = sha256 + kEnding;
  if (const std::optional<std::string> before = folder.content(name)) {
    // None of them can be made again by a program, so none is written over.
    std::string kept = name + ".before";
    std::optional<std::string> there = folder.content(kept);
    for (int k = 2; there && *there != *before; ++k) {
      kept = fmt::format("{}.before-{}", name, k);
      there = folder.content(kept);
    }
    if (!there) {
      folder.write_whole(kept, *before);
    }
  }
  if (marks) {
    folder.write_whole(name, report::marks_text(*marks));
  } else {
    folder.remove(name);
  }
  return true;
}

std::map<fs::path, std::string> KeptMarks::stamps() const {
  std::map<fs::path, std::string> all;
  std::error_code error;
  if (!there()) {
    return all;
  }
  fs::directory_iterator entry(folder_, error);
  for (; !error && entry != fs::directory_iterator(); entry.increment(error)) {
    if (entry->path().extension() == kEnding) {
      const auto status = file_status(entry->path());
      all[entry->path()] = status ? stamp_of(*status) : std::string();
    }
  }
  return all;
}

}  // namespace nocktrail::session
