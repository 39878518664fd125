// The manual's pages and the completions say what --help says; groff and bash themselves judge
// their form, where they are installed.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <regex>
#include <set>
#include <string>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

std::string said(const std::string& command) {
  std::string text;
  FILE* const pipe = ::popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::array<char, 4096> buffer{};
  for (std::size_t n = 0; (n = std::fread(buffer.data(), 1, buffer.size(), pipe)) > 0;) {
    text.append(buffer.data(), n);
  }
  ::pclose(pipe);
  return text;
}

std::string printed(const std::string& arguments) {
  const Ran ran = run_program(arguments);
  return ran.out + ran.err;
}

std::set<std::string> options_in(const std::string& text) {
  static const std::regex option("--[a-z][a-z0-9-]+");
  return {std::sregex_token_iterator(text.begin(), text.end(), option),
          std::sregex_token_iterator()};
}

bool there(const char* tool) {
  return std::system(fmt::format("command -v {} >/dev/null", tool).c_str()) == 0;
}

constexpr std::array kCommands{"read",  "effects", "session", "watch",
                               "serve", "logbook", "still",   "demo"};

}  // namespace

TEST_CASE("unit: every option of --help is in the manual's page and is completed") {
  const std::string bash = printed("manual bash");
  const std::string zsh = printed("manual zsh");
  for (const char* command : kCommands) {
    CAPTURE(command);
    const std::string help = printed(fmt::format("{} --help", command));
    std::string page = printed(fmt::format("manual man {}", command));
    page = std::regex_replace(page, std::regex(R"(\\-)"), "-");
    const std::set<std::string> in_page = options_in(page);
    const std::set<std::string> in_bash = options_in(bash);
    const std::set<std::string> in_zsh = options_in(zsh);
    // Those at the beginning of a line of --help are its own.
    static const std::regex own(R"(\n  (?:-[a-z],)?(--[a-z][a-z0-9-]+))");
    std::size_t counted = 0;
    for (auto it = std::sregex_iterator(help.begin(), help.end(), own);
         it != std::sregex_iterator(); ++it) {
      const std::string option = (*it)[1];
      CAPTURE(option);
      CHECK(in_page.contains(option));
      CHECK(in_bash.contains(option));
      CHECK(in_zsh.contains(option));
      ++counted;
    }
    CHECK(counted >= 1);  // --help at the least
  }
  CHECK(printed("manual man").find("nocktrail\\-session") != std::string::npos);
  CHECK(printed("--help").find("manual") == std::string::npos);
}

TEST_CASE("reference: groff reads the pages without a warning, bash the completion") {
  if (there("groff")) {
    for (const char* command : kCommands) {
      CHECK(said(fmt::format("'{}' manual man {} | groff -man -Tutf8 -ww 2>&1 >/dev/null",
                             NOCKTRAIL_PROGRAM, command)) == "");
    }
  } else {
    MESSAGE("skipped: groff is not installed");
  }
  const std::string complete =
      R"(; COMP_WORDS=({}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1)); _nocktrail; echo "${{COMPREPLY[*]}}")";
  const auto completed = [&](const std::string& words) {
    return said(fmt::format("bash -c 'source <(\"{}\" manual bash){}'", NOCKTRAIL_PROGRAM,
                            fmt::format(fmt::runtime(complete), words)));
  };
  CHECK(completed("nocktrail s") == "session serve still\n");
  CHECK(completed("nocktrail read --hand l") == "left\n");
  CHECK(completed("nocktrail session --no") == "--no-logbook --no-stills\n");
}

TEST_CASE("fault: what there is no page of") {
  CHECK(printed("manual man shoot").find("there is no command shoot") != std::string::npos);
  CHECK(printed("manual fish").find("man, bash or zsh") != std::string::npos);
}
