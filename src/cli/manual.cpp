#include "manual.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cctype>
#include <sstream>
#include <vector>

#include "exit_status.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/version.hpp"

namespace nocktrail::cli {
namespace {

// Text that roff does not take for its own: backslashes, hyphens that are typed, and dots and
// quotes that begin a line.
std::string roff(const std::string& text) {
  std::string safe;
  for (const char c : text) {
    if (c == '\\') {
      safe += "\\e";
    } else if (c == '-') {
      safe += "\\-";
    } else {
      const bool begins = safe.empty() || safe.back() == '\n';
      if (begins && (c == '.' || c == '\'')) {
        safe += "\\&";
      }
      safe += c;
    }
  }
  return safe;
}

// Paragraphs: what is indented by hand stays as it is, the rest flows.
std::string flowing(const std::string& text) {
  std::istringstream lines(text);
  std::string page;
  bool literal = false;
  for (std::string line; std::getline(lines, line);) {
    const bool indented = line.starts_with("  ");
    if (indented != literal) {
      page.append(indented ? ".PP\n.nf\n" : ".fi\n");
      literal = indented;
    }
    page += line.empty() ? std::string(".PP\n") : fmt::format("{}\n", roff(line));
  }
  page.append(literal ? ".fi\n" : "");
  return page;
}

// Those that --help lists, of the program or of a command.
std::vector<const CLI::App*> commands_of(const CLI::App& app) {
  std::vector<const CLI::App*> commands;
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    if (!command->get_group().empty()) {
      commands.push_back(command);
    }
  }
  return commands;
}

std::vector<const CLI::Option*> options_of(const CLI::App& app, bool positional) {
  std::vector<const CLI::Option*> options;
  for (const CLI::Option* option : app.get_options()) {
    if (option->get_positional() == positional && !option->get_group().empty()) {
      options.push_back(option);
    }
  }
  return options;
}

// "right|left" is a list of words; "DEG" names a figure.
std::vector<std::string> words_of(const CLI::Option& option) {
  std::vector<std::string> words;
  std::istringstream parts(option.get_type_name());
  for (std::string part; std::getline(parts, part, '|');) {
    words.push_back(part);
  }
  const bool spelt =
      words.size() > 1 && std::all_of(words.begin(), words.end(), [](const std::string& word) {
        return !word.empty() && std::all_of(word.begin(), word.end(), [](char c) {
          return std::islower(static_cast<unsigned char>(c)) != 0 || c == '-';
        });
      });
  return spelt ? words : std::vector<std::string>{};
}

std::vector<std::string> long_names(const CLI::App& app) {
  std::vector<std::string> names;
  for (const CLI::Option* option : options_of(app, false)) {
    for (const std::string& name : option->get_lnames()) {
      names.push_back(fmt::format("--{}", name));
    }
  }
  return names;
}

std::string option_page(const CLI::Option& option) {
  std::string names =
      fmt::format("\\f{}{}\\fR", option.get_positional() ? 'I' : 'B', roff(option.get_name()));
  if (!option.get_positional() && !option.get_type_name().empty()) {
    names += fmt::format(" \\fI{}\\fR", roff(option.get_type_name()));
  }
  return fmt::format(".TP\n{}\n{}\n", names, roff(option.get_description()));
}

std::string in_quotes(std::string text) {
  for (std::size_t at = 0; (at = text.find('\'', at)) != std::string::npos; at += 4) {
    text.replace(at, 1, "'\\''");
  }
  return fmt::format("'{}'", text);
}

// In zsh's specifications brackets and colons mean something.
std::string described(const std::string& text) {
  std::string safe;
  for (const char c : text) {
    if (c == '[' || c == ']' || c == ':' || c == '\\') {
      safe += '\\';
    }
    safe += c == '\n' ? ' ' : c;
  }
  return safe;
}

}  // namespace

std::string man_page(const CLI::App& program, const CLI::App* command) {
  const CLI::App& app = command != nullptr ? *command : program;
  const std::string name =
      command != nullptr ? fmt::format("nocktrail-{}", command->get_name()) : "nocktrail";
  const std::string typed =
      command != nullptr ? fmt::format("nocktrail {}", command->get_name()) : "nocktrail";
  std::string page = fmt::format(".TH {} 1 \"\" \"nocktrail {}\" \"User commands\"\n",
                                 fmt::format("\"{}\"", roff(name)), kVersion);
  page += fmt::format(".SH NAME\n{} \\- {}\n", roff(name), roff(app.get_description()));
  page += fmt::format(".SH SYNOPSIS\n\\fB{}\\fR", typed);
  if (command == nullptr) {
    page += " \\fICOMMAND\\fR";
  }
  page += " [\\fIOPTIONS\\fR]";
  for (const CLI::Option* option : options_of(app, true)) {
    const std::string name_of_it = fmt::format("\\fI{}\\fR", roff(option->get_name()));
    page +=
        option->get_required() ? fmt::format(" {}", name_of_it) : fmt::format(" [{}]", name_of_it);
  }
  page += "\n";
  if (command == nullptr) {
    page += ".SH COMMANDS\n";
    for (const CLI::App* each : commands_of(program)) {
      page += fmt::format(".TP\n\\fB{}\\fR\n{}; see \\fBnocktrail\\-{}\\fR(1)\n", each->get_name(),
                          roff(each->get_description()), each->get_name());
    }
  }
  const std::vector<const CLI::App*> parts =
      command != nullptr ? commands_of(*command) : std::vector<const CLI::App*>{};
  for (const CLI::App* each : parts) {
    page += fmt::format(".SH {} {}\n{}\n", app.get_name(), each->get_name(),
                        roff(each->get_description()));
    for (const bool positional : {true, false}) {
      for (const CLI::Option* option : options_of(*each, positional)) {
        page += option_page(*option);
      }
    }
  }
  page += ".SH OPTIONS\n";
  for (const bool positional : {true, false}) {
    for (const CLI::Option* option : options_of(app, positional)) {
      page += option_page(*option);
    }
  }
  if (command != nullptr && !app.get_footer().empty()) {
    page += ".SH NOTES\n" + flowing(app.get_footer());
  }
  page += ".SH SEE ALSO\n";
  std::vector<std::string> others;
  if (command != nullptr) {
    others.emplace_back("\\fBnocktrail\\fR(1)");
  }
  for (const CLI::App* each : commands_of(program)) {
    if (each != command) {
      others.push_back(fmt::format("\\fBnocktrail\\-{}\\fR(1)", each->get_name()));
    }
  }
  return page + fmt::format("{}\n", fmt::join(others, ", "));
}

std::string bash_completion(const CLI::App& program) {
  std::vector<std::string> names;
  std::string options;
  std::string values;
  for (const CLI::App* command : commands_of(program)) {
    names.push_back(command->get_name());
    std::vector<std::string> offered = long_names(*command);
    for (const CLI::App* part : commands_of(*command)) {
      offered.push_back(part->get_name());
      const std::vector<std::string> own = long_names(*part);
      offered.insert(offered.end(), own.begin(), own.end());
    }
    options += fmt::format("    {}) offered={} ;;\n", command->get_name(),
                           in_quotes(fmt::format("{}", fmt::join(offered, " "))));
    for (const CLI::Option* option : options_of(*command, false)) {
      const std::vector<std::string> words = words_of(*option);
      if (!words.empty() && !option->get_lnames().empty()) {
        values += fmt::format("    {}:--{}) words={} ;;\n", command->get_name(),
                              option->get_lnames().front(),
                              in_quotes(fmt::format("{}", fmt::join(words, " "))));
      }
    }
  }
  return fmt::format(R"(# bash completion of nocktrail, made from its own commands and options
_nocktrail() {{
  local now=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}} command=${{COMP_WORDS[1]}}
  local offered= words=
  COMPREPLY=()
  if ((COMP_CWORD == 1)); then
    mapfile -t COMPREPLY < <(compgen -W '{} --help --version' -- "$now")
    return
  fi
  case $command in
{}  esac
  case $command:$before in
{}  esac
  if [[ -n $words ]]; then
    mapfile -t COMPREPLY < <(compgen -W "$words" -- "$now")
  elif [[ $now == -* ]]; then
    mapfile -t COMPREPLY < <(compgen -W "$offered" -- "$now")
  fi
}}
complete -o default -F _nocktrail nocktrail
)",
                     fmt::join(names, " "), options, values);
}

std::string zsh_completion(const CLI::App& program) {
  std::string commands;
  std::string options;
  for (const CLI::App* command : commands_of(program)) {
    commands +=
        fmt::format("    {}\n", in_quotes(fmt::format("{}:{}", command->get_name(),
                                                      described(command->get_description()))));
    std::string specifications;
    for (const CLI::Option* option : options_of(*command, false)) {
      for (const std::string& name : option->get_lnames()) {
        std::string value;
        if (!option->get_type_name().empty()) {
          const std::vector<std::string> words = words_of(*option);
          value = words.empty() ? fmt::format(":{}:_files", described(option->get_type_name()))
                                : fmt::format(":word:({})", fmt::join(words, " "));
        }
        specifications +=
            fmt::format(" {}", in_quotes(fmt::format("--{}[{}]{}", name,
                                                     described(option->get_description()), value)));
      }
    }
    options += fmt::format("    {}) _arguments{} '*:file:_files' ;;\n", command->get_name(),
                           specifications);
  }
  return fmt::format(R"(#compdef nocktrail
# zsh completion of nocktrail, made from its own commands and options
_nocktrail() {{
  local -a commands=(
{}  )
  if ((CURRENT == 2)); then
    _describe command commands
    return
  fi
  local command=$words[2]
  shift words
  ((CURRENT--))
  case $command in
{}  esac
}}
_nocktrail "$@"
)",
                     commands, options);
}

const CLI::App* add_manual_command(CLI::App& program, ManualArguments& arguments) {
  CLI::App* const manual =
      program.add_subcommand("manual", "Print the manual's pages and what a shell completes");
  manual->add_option("WHAT", arguments.what, "man, bash or zsh")->required();
  manual->add_option("COMMAND", arguments.command, "Of man: the command, else the program");
  manual->group("");  // for whoever packs the program; --help does not list it
  return manual;
}

int run_manual(const CLI::App& program, const ManualArguments& arguments) {
  if (arguments.what == "bash") {
    fmt::print("{}", bash_completion(program));
  } else if (arguments.what == "zsh") {
    fmt::print("{}", zsh_completion(program));
  } else if (arguments.what == "man") {
    const CLI::App* command = nullptr;
    for (const CLI::App* each : commands_of(program)) {
      command = each->get_name() == arguments.command ? each : command;
    }
    if (command == nullptr && !arguments.command.empty()) {
      throw BadInput(fmt::format("manual: there is no command {}", arguments.command));
    }
    fmt::print("{}", man_page(program, command));
  } else {
    throw BadInput("manual: what is wanted is man, bash or zsh");
  }
  return kAllMeasured;
}

}  // namespace nocktrail::cli
