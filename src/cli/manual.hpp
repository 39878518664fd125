// The same words as --help in other shapes: pages of the manual, and what a shell completes.
#pragma once

#include <CLI/App.hpp>
#include <string>

namespace nocktrail::cli {

// A page of section 1 in roff's man macros (man(7)): of the program as a whole, or of one command.
std::string man_page(const CLI::App& program, const CLI::App* command);

// For bash: commands, options of each, the words an option takes, else file names.
std::string bash_completion(const CLI::App& program);

// For zsh, the same.
std::string zsh_completion(const CLI::App& program);

// Adds `nocktrail manual`, which prints these for whoever packs the program.
struct ManualArguments {
  std::string what;     // man, bash or zsh
  std::string command;  // of man: empty for the program
};
const CLI::App* add_manual_command(CLI::App& program, ManualArguments& arguments);
int run_manual(const CLI::App& program, const ManualArguments& arguments);

}  // namespace nocktrail::cli
