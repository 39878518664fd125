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

#include "scratch_folder.hpp"

namespace nocktrail::cli::test {

namespace fs = std::filesystem;

using nocktrail::scratch::content;
using nocktrail::scratch::Folder;

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
