#include "nocktrail/desk/demo_folder.hpp"

#include <fmt/format.h>

#include <set>
#include <string>
#include <system_error>

#include "demo_files.hpp"
#include "nocktrail/desk/session_output.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::desk {
namespace {

namespace fs = std::filesystem;

// What lies right inside the folder.
std::set<fs::path> top_names() {
  std::set<fs::path> names;
  for (const DemoFile& file : demo_files()) {
    names.insert(*fs::path(file.path).begin());
  }
  return names;
}

void write_files(const fs::path& folder) {
  for (const DemoFile& file : demo_files()) {
    const fs::path path = folder / file.path;
    fs::create_directories(path.parent_path());
    report::write_file_whole(path, file.bytes);
  }
}

}  // namespace

DemoFolder::DemoFolder(const fs::path& folder) : path_(fs::absolute(folder).lexically_normal()) {
  if (path_.filename().empty()) {  // "out/"
    path_ = path_.parent_path();
  }
  const std::string shown = rules::printable(folder.string());
  std::error_code error;
  if (fs::is_symlink(fs::symlink_status(path_, error))) {
    throw BadInput(fmt::format("{}: is a link; name a new folder for the demo", shown));
  }
  made_ = !fs::exists(path_, error);
  if (!made_ && (!fs::is_directory(path_, error) || !fs::is_empty(path_, error))) {
    throw BadInput(fmt::format(
        "{}: is there already and not empty; nothing was written; name a new folder for the demo",
        shown));
  }
  try {
    // One that is there stays the same folder: somebody's shell may stand in it.
    const report::PartFolder part(made_ ? path_ : path_ / "demo", error);
    if (error) {
      throw fs::filesystem_error("", error);
    }
    write_files(part.path());
    if (made_) {
      fs::rename(part.path(), path_);
    } else {
      for (const fs::path& name : top_names()) {
        fs::rename(part.path() / name, path_ / name);
      }
    }
  } catch (const std::exception& problem) {
    take_away();
    const auto* system = dynamic_cast<const fs::filesystem_error*>(&problem);
    throw BadInput(
        fmt::format("{}: the demo cannot be written ({}); nothing was left behind; name "
                    "a folder where you may write",
                    shown, system != nullptr ? system->code().message() : problem.what()));
  }
}

DemoFolder::~DemoFolder() {
  if (!kept_) {
    take_away();
  }
}

void DemoFolder::take_away() const {
  std::error_code ignored;
  for (const fs::path& name : top_names()) {
    fs::remove_all(path_ / name, ignored);
  }
  fs::remove_all(path_ / session::kResultsFolder, ignored);
  for (const char* ending : {"", "-wal", "-shm", "-journal"}) {
    fs::remove(path_ / (std::string(kMadeUpLogbook) + ending), ignored);
  }
  if (made_) {
    fs::remove(path_, ignored);
  }
}

}  // namespace nocktrail::desk
