// The built program, run once as a script would, and a folder of its own to run it in.
#pragma once

#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <system_error>

namespace nocktrail::cli::test {

namespace fs = std::filesystem;

// Empty at first, gone with all that is in it at the end.
class Folder {
 public:
  Folder() {
    std::string pattern = (fs::temp_directory_path() / "nocktrail-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  fs::path operator/(const std::string& name) const { return path_ / name; }
  std::ptrdiff_t entries() const {
    return std::distance(fs::directory_iterator(path_), fs::directory_iterator());
  }

 private:
  fs::path path_;
};

inline std::string content(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

struct Ran {
  int status = -1;
  std::string out;
  std::string err;
};

// `arguments` as in a shell. `config`: the user's configuration folder; one without anything in it
// when none is named, so that whoever runs the tests may have a profile.
inline Ran run_program(const std::string& arguments, const fs::path& config = {}) {
  const Folder folder;
  const std::string command =
      fmt::format("XDG_CONFIG_HOME='{}' '{}' {} >'{}' 2>'{}' </dev/null",
                  (config.empty() ? folder / "config" : config).string(), NOCKTRAIL_PROGRAM,
                  arguments, (folder / "out").string(), (folder / "err").string());
  const int raw = std::system(command.c_str());
  return {WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, content(folder / "out"), content(folder / "err")};
}

}  // namespace nocktrail::cli::test
