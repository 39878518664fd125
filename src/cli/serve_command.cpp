#include "serve_command.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>

#include "interrupt.hpp"
#include "nocktrail/rules/words.hpp"
#include "watch_command.hpp"

namespace nocktrail::cli {
namespace {

const char* const kFooter = R"(Examples:
  nocktrail serve                     pages on this computer, for the folder one stands in
  nocktrail serve spring --lan        for the phone at the line: scan the code that is shown

Reads the folder as `nocktrail watch` does, and shows it to a browser: the newest verdict and the
next step, clips sent from the phone, shots left out or taken back. The address on standard output
carries a secret, made anew each time: whoever has it can send clips and change the session's facts
until the program stops. It is plain HTTP: others in the same network could listen. Ctrl-C ends it.

Exit status: 0 ended by Ctrl-C; 2 the command line is wrong or the folder cannot be used; 1 a fault
of the program itself.)";

void show_addresses(const serve::Ready& ready, bool lan, TerminalVoice& terminal) {
  fmt::print("{}\n", ready.url);
  std::fflush(stdout);
  if (lan) {
    const bool coloured = ::isatty(STDERR_FILENO) == 1;
    terminal.line(stderr, fmt::format("\n{}", serve::qr_code(ready.url, coloured)));
    for (const std::string& url : ready.others) {
      terminal.line(stderr, fmt::format("also at {}", url));
    }
    if (!ready.are_private) {
      terminal.message(
          "this network is no private one: whoever is anywhere in the Internet may reach the "
          "address, though not without its secret");
    }
    terminal.message(
        "whoever has this address can send clips and change the session's facts until you stop "
        "the program with Ctrl-C; it is plain HTTP, so others in the same network could listen");
  } else {
    terminal.message("on this computer alone; --lan lets a phone in the same network in");
  }
}

}  // namespace

CLI::App* add_serve_command(CLI::App& program, ServeArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "serve", "Show a session's folder to a phone at the line, and take its clips in");
  command->footer(kFooter);
  command->add_option("DIR", arguments.folder, "Folder of the session; else the one you are in")
      ->type_name("");
  command->add_flag("--lan", arguments.serve.lan,
                    "For the local network, not for this computer\nalone");
  command
      ->add_option("--port", arguments.serve.port, "Port to be reached at; else one that is free")
      ->type_name("N");
  add_output_options(*command, arguments.output);
  add_watch_options(*command, arguments.watch);
  return command;
}

int run_serve(const ServeArguments& arguments) {
  note_interrupts();
  TerminalVoice terminal(arguments.output.quiet, stderr);
  desk::WatchEvents events;
  events.line = [&](const std::string& line) { terminal.line(stderr, line); };
  serve::serve(arguments.folder, arguments.output.settings, arguments.watch, arguments.serve,
               terminal.voice(), events, [&](const serve::Ready& ready) {
                 show_addresses(ready, arguments.serve.lan, terminal);
               });
  terminal.message("stopped serving; what was read is kept");
  return std::fflush(stdout) == 0 && std::ferror(stdout) == 0 ? 0 : 1;
}

}  // namespace nocktrail::cli
