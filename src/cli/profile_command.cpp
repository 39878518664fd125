#include "profile_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <filesystem>
#include <system_error>

#include "new_file.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/tune/facts_words.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

const char* const kFooter = R"(Examples:
  nocktrail profile --template
  nocktrail profile

The profile is a file of your own in your configuration folder (~/.config/nocktrail/profile.toml):
hand, usual cant, bow, arrow, phone, distance. read, still, session, watch and serve take from it
what a session's own files and the command line leave open, and say so. The phones that it names
stand in phones.toml beside it.

Exit status: 0; 2 the file has a slip, or is there already; 1 it could not be written.)";

void make(const fs::path& path) {
  write_new_file(path, session::profile_template());
  fmt::print(
      "{}\nFill in what is the same whenever you shoot; nocktrail profile shows what is "
      "understood.\n",
      rules::printable(path.string()));
}

void show(const session::ArcherFiles& files) {
  const std::string profile = rules::printable(files.profile.string());
  const std::string phones = rules::printable(files.phones.string());
  if (const std::optional<tune::SetupFacts> facts = session::read_profile(files)) {
    fmt::print("Profile: {}\n", profile);
    const std::vector<tune::FactLine> lines = tune::fact_lines(*facts);
    for (const tune::FactLine& line : lines) {
      fmt::print("  {}: {}\n", line.what, rules::printable(line.value));
    }
    if (lines.empty()) {
      fmt::print("  It tells nothing yet: take the # away before what you fill in.\n");
    }
  } else {
    fmt::print("No profile yet; nocktrail profile --template makes {}\n", profile);
  }
  const session::Phones known = session::read_phones(files.phones);
  if (!known.empty()) {
    fmt::print("Phones: {}\n", phones);
  }
  for (const auto& [name, focal_35mm] : known) {
    fmt::print("  {}: {:.4g} mm\n", rules::printable(name), focal_35mm);
  }
}

}  // namespace

CLI::App* add_profile_command(CLI::App& program, ProfileArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "profile", "Show what you wrote once for all sessions: hand, bow, arrow, phone, distance");
  command->footer(kFooter);
  command->add_flag("--template", arguments.make, "Make the file to fill in");
  return command;
}

int run_profile(const ProfileArguments& arguments) {
  const session::ArcherFiles files = session::default_archer_files();
  if (files.profile.empty()) {
    throw BadInput("there is no home folder to keep a profile in; set HOME");
  }
  if (arguments.make) {
    make(files.profile);
  } else {
    show(files);
  }
  return 0;
}

}  // namespace nocktrail::cli
