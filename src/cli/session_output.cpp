#include "session_output.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>

#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/report/lines.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

// Never throws, as fmt::print does (desk::Voice).
void say(FILE* to, const std::string& words) {
  std::fputs(words.c_str(), to);
  std::fflush(to);
}

}  // namespace

void add_output_options(CLI::App& command, SessionOutputArguments& arguments) {
  desk::OutputSettings& settings = arguments.settings;
  command
      .add_option("--results", settings.results,
                  "Folder for the results, when they cannot lie\nbeside the clips")
      ->type_name("DIR");
  command
      .add_option("--logbook", settings.logbook,
                  "Record in this logbook; else in the one in the\nuser's data directory")
      ->type_name("FILE");
  command.add_flag("--no-logbook", settings.no_logbook, "Record in no logbook");
  command.add_flag("--no-stills", settings.no_stills, "Draw no pictures");
  command
      .add_option("--dead-band", settings.dead_band_deg,
                  "Offsets smaller than this count as straight")
      ->type_name("DEG")
      ->capture_default_str();
  command.add_flag("--quiet", arguments.quiet, "No progress and no line for each clip");
}

TerminalVoice::TerminalVoice(bool quiet, FILE* clips_to)
    : progress_(!quiet), quiet_(quiet), clips_to_(clips_to) {}

desk::Voice TerminalVoice::voice() {
  desk::Voice voice;
  voice.message = [this](const std::string& words) { message(words); };
  voice.step = [this](const session::SessionEvents::Step& step) {
    progress_.show(fmt::format("{} of {}: {}: {} {:.0f} %", step.done + 1, step.total, step.clip,
                               step.what, 100.0 * step.share));
  };
  if (!quiet_) {
    voice.clip = [this](const std::string&, const tune::ClipRecord&, const std::string& words) {
      line(clips_to_, words);
    };
  }
  voice.stop = interrupted;
  return voice;
}

void TerminalVoice::message(const std::string& line) {
  progress_.clear();
  say(stderr, fmt::format("nocktrail: {}\n", line));
}

void TerminalVoice::line(FILE* to, const std::string& line) {
  progress_.clear();
  say(to, report::lines(line + "\n", text_columns(0)));
}

int session_status(const desk::JudgedSession& judged) {
  if (judged.failed) {
    return kProgramFault;
  }
  bool unreadable = false;
  bool measured = false;
  for (const tune::SetupRecord& setup : judged.read.record.setups) {
    for (const tune::ClipRecord& clip : setup.clips) {
      unreadable = unreadable || clip.reading.status == ClipStatus::error;
      measured = measured || clip.reading.status == ClipStatus::measured;
    }
  }
  if (unreadable) {
    return kUnreadable;
  }
  return measured ? kAllMeasured : kNotMeasured;
}

}  // namespace nocktrail::cli
