#include "logbook_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cstdio>
#include <filesystem>

#include "exit_status.hpp"
#include "logbook_view.hpp"
#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/answers_csv.hpp"
#include "nocktrail/logbook/forget.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/logbook/merge.hpp"
#include "nocktrail/logbook/transfer.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/report/lines.hpp"
#include "nocktrail/report/local_time.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/output_check.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

const char* const kFooter = R"(Examples:
  nocktrail logbook liked --bow Heron --year 2025
  nocktrail logbook before --note "string broke" --bow Heron
  nocktrail logbook compare cedar pine
  nocktrail logbook note "new string, 14 strands" --bow Heron
  nocktrail logbook shots --year 2025 --csv shots.csv
  nocktrail logbook forget 2-lower/IMG_0023.mp4
  nocktrail logbook merge laptop/logbook.sqlite
  nocktrail logbook export --csv logbook-november

Times are when a clip was filmed, or where that is not known, when it was read: here and in what you
type of your own zone, in JSON, CSV and the logbook itself UTC, with a Z.

What is forgotten shows in no answer any more, and stays so when its folder is read again; nothing
is deleted, and remember takes it back. A clip is forgotten with all copies of it.)";

fs::path logbook_file(const LogbookArguments& arguments) {
  return arguments.file.empty() ? logbook::default_file() : fs::path(arguments.file);
}

logbook::Logbook open(const LogbookArguments& arguments, logbook::Access access) {
  logbook::OpenOptions options;
  options.access = access;
  return logbook::Logbook(logbook_file(arguments), options);
}

// What an answer may write over: an older one of its kind.
struct Products {
  session::Product json;
  session::Product csv;
};

// Before anything is asked or changed. `products`: what --json and --csv write here.
void check_files(const LogbookArguments& arguments, const Products& products = {}) {
  session::OutputCheck check = desk::own_files();
  if (!arguments.from.empty()) {
    check.keep(arguments.from, "what is to be read");
  }
  if (!arguments.file.empty()) {
    check.check_logbook("--logbook", arguments.file);
  }
  check.keep_logbook(logbook_file(arguments));
  if (!arguments.json.empty() && arguments.json != "-") {
    check.check("--json", arguments.json, products.json);
  }
  if (!arguments.csv.empty() && arguments.csv != "-" && products.csv.is_older) {
    check.check("--csv", arguments.csv, products.csv);
  }
  if (!arguments.csv.empty() && !arguments.json.empty()) {
    throw BadInput("--csv and --json: one of them at a time");
  }
}

// Answers have no schema: they are told by their keys, and their columns.
template <typename Answer>
Products of_answer(const Answer& one_of_each, const Answer& empty) {
  return {session::json_like(json(one_of_each), "this answer as JSON"),
          {"this answer as CSV", [names = logbook::csv(empty)](const std::string& bytes) {
             return bytes.starts_with(names);
           }}};
}
template <typename Row>
Products of_list() {
  return of_answer(std::vector<Row>{Row{}}, {});
}

logbook::Filter filter_of(const LogbookArguments& arguments) {
  logbook::Filter filter{arguments.bow, arguments.arrow, arguments.since, arguments.until};
  if (!arguments.year.empty()) {
    if (!filter.since.empty() || !filter.until.empty()) {
      throw BadInput("--year says it all: leave out --since and --until");
    }
    if (arguments.year.size() != 4 ||
        arguments.year.find_first_not_of("0123456789") != std::string::npos) {
      throw BadInput(fmt::format("--year: \"{}\" is not a year; give one as 2026", arguments.year));
    }
    filter.since = filter.until = arguments.year;
  }
  filter.since = report::utc_of_first(filter.since);
  filter.until = report::utc_of_last(filter.until);
  return filter;
}

void say(const std::string& text) {
  const bool written = std::fwrite(text.data(), 1, text.size(), stdout) == text.size();
  if (!written || std::fflush(stdout) != 0) {
    throw BadInput("standard output: not everything could be written; check where it goes");
  }
}

// The answer as text, or as JSON or CSV to its place.
template <typename Answer>
void show(const LogbookArguments& arguments, const Answer& answer) {
  const std::string& place = arguments.json.empty() ? arguments.csv : arguments.json;
  if (place.empty()) {
    say(report::lines(text(answer), terminal_columns()));
    return;
  }
  const std::string written =
      arguments.json.empty() ? logbook::csv(answer) : json(answer).dump(2) + "\n";
  if (place == "-") {
    say(written);
  } else {
    report::write_file_whole(place, written);
  }
}

// A day is one of the own zone, and stays a day in the answer.
logbook::BeforeAnswer before_date(const logbook::Logbook& book, const LogbookArguments& arguments) {
  const std::string& date = arguments.date;
  if (report::utc_of_first(date) == report::utc_of_last(date)) {  // a moment, or no date
    return logbook::before_date(book, report::utc_of_local(date), arguments.bow);
  }
  logbook::BeforeAnswer answer = logbook::before_date(book, report::utc_of_first(date),
                                                      arguments.bow, report::utc_of_last(date));
  answer.at = date;
  return answer;
}

void run_before(const LogbookArguments& arguments) {
  if (arguments.date.empty() == arguments.note.empty()) {
    throw BadInput(
        "before: name a date, as 2026-11-25, or --note with some words of a note, and not both");
  }
  check_files(arguments, of_answer(logbook::BeforeAnswer{}, {}));
  const logbook::Logbook book = open(arguments, logbook::Access::read);
  show(arguments, arguments.note.empty()
                      ? before_date(book, arguments)
                      : logbook::before_note(book, arguments.note, arguments.bow));
}

void run_export(const LogbookArguments& arguments) {
  if (arguments.csv.empty() == arguments.json.empty()) {
    throw BadInput("export: name either --csv FOLDER or --json FILE");
  }
  check_files(arguments, {session::json_of(logbook::kExportSchema), {}});
  const logbook::Logbook book = open(arguments, logbook::Access::read);
  if (!arguments.csv.empty()) {
    logbook::export_csv(book, arguments.csv);
    say(fmt::format("{}: written\n", arguments.csv));
  } else if (arguments.json == "-") {
    say(logbook::json_text(book));
  } else {
    logbook::export_json(book, arguments.json);
    say(fmt::format("{}: written\n", arguments.json));
  }
}

void run_import(const LogbookArguments& arguments) {
  const fs::path from = arguments.from;
  std::error_code error;
  if (!fs::exists(from, error)) {
    throw BadInput(
        fmt::format("{}: there is no such file or folder; give what `nocktrail logbook export` "
                    "wrote",
                    arguments.from));
  }
  check_files(arguments);
  logbook::Logbook book = open(arguments, logbook::Access::write);
  const long rows = fs::is_directory(from, error) ? logbook::import_csv(book, from)
                                                  : logbook::import_json(book, from);
  say(fmt::format("{}: {} rows imported\n", book.file().string(), rows));
}

void run_forget(const LogbookArguments& arguments, bool forget) {
  check_files(arguments);
  logbook::OpenOptions options;
  options.must_exist = true;
  logbook::Logbook book(logbook_file(arguments), options);
  const logbook::Entry entry{arguments.session, arguments.clip};
  const logbook::ForgottenEntry done =
      forget ? logbook::forget(book, entry) : logbook::take_back(book, entry);
  say(fmt::format("{}: {}\n", text(done), forget ? "forgotten" : "remembered"));
}

void run_merge(const LogbookArguments& arguments) {
  check_files(arguments);
  const fs::path own = logbook_file(arguments);
  std::error_code error;
  if (fs::equivalent(own, arguments.from, error)) {
    throw BadInput(fmt::format("{}: is this logbook itself; name the other one",
                               rules::printable(arguments.from)));
  }
  const logbook::Logbook other = [&] {
    logbook::OpenOptions options;
    options.access = logbook::Access::copy;
    return logbook::Logbook(arguments.from, options);
  }();
  logbook::Logbook book = open(arguments, logbook::Access::write);
  const logbook::Merged merged = logbook::merge(book, other);
  for (const std::string& setup : merged.told_otherwise) {
    fmt::print(stderr,
               "nocktrail: {}: the two logbooks tell it differently; this one's facts stay\n",
               rules::printable(setup));
  }
  say(merged.rows == 0
          ? fmt::format("{}: all of it was known\n", book.file().string())
          : fmt::format("{}: {} sessions, {} clips, {} readings and {} notes came in\n",
                        book.file().string(), merged.sessions, merged.clips, merged.readings,
                        merged.notes));
}

}  // namespace

CLI::App* add_logbook_command(CLI::App& program, LogbookArguments& arguments) {
  CLI::App* command =
      program.add_subcommand("logbook", "Ask of everything ever recorded; export and import it");
  command->require_subcommand(1);
  command->footer(kFooter);
  const auto add = [&](const char* name, const char* description) {
    CLI::App* sub = command->add_subcommand(name, description);
    sub->add_option("--logbook", arguments.file,
                    "The logbook; else the one in the user's data directory")
        ->type_name("FILE");
    return sub;
  };
  const auto with_json = [&](CLI::App* sub) {
    sub->add_option("--json", arguments.json, "Write JSON to a file, or - for standard output")
        ->type_name("FILE|-");
  };
  const auto with_files = [&](CLI::App* sub) {
    with_json(sub);
    sub->add_option("--csv", arguments.csv,
                    "Write a table for spreadsheets (CSV) to a file, or -\nfor standard output")
        ->type_name("FILE|-");
  };
  const auto with_bow = [&](CLI::App* sub, const char* words) {
    sub->add_option("--bow", arguments.bow, words)->type_name("NAME");
  };
  const auto with_span = [&](CLI::App* sub) {
    sub->add_option("--year", arguments.year, "Of this year alone")->type_name("YYYY");
    sub->add_option("--since", arguments.since, "From this day, month or year on")
        ->type_name("DATE");
    sub->add_option("--until", arguments.until, "Up to and with this day, month or year")
        ->type_name("DATE");
  };
  const auto with_arrow = [&](CLI::App* sub) {
    sub->add_option("--arrow", arguments.arrow, "Of this arrow alone")->type_name("NAME");
  };

  CLI::App* shots = add("shots", "Every shot with its reading");
  with_files(shots);
  with_bow(shots, "Of this bow alone");
  with_arrow(shots);
  with_span(shots);
  shots->add_flag("--history", arguments.history, "Readings by older versions of the program too");

  CLI::App* setups = add("setups", "Every set-up with its verdict");
  with_files(setups);
  with_bow(setups, "Of this bow alone");
  with_arrow(setups);
  with_span(setups);

  CLI::App* liked = add("liked", "What a bow liked: set-ups that ended matched, or done");
  with_files(liked);
  with_bow(liked, "Of this bow alone");
  with_arrow(liked);
  with_span(liked);

  CLI::App* before = add("before", "The set-up in force before a date, or before a note");
  before->add_option("date", arguments.date, "A day, or a day and a time: 2026-11-25T10:30")
      ->type_name("DATE");
  before->add_option("--note", arguments.note, "Before the latest note that holds these words")
      ->type_name("WORDS");
  with_bow(before, "Of this bow alone");
  with_files(before);

  CLI::App* compare = add("compare", "Two arrows side by side: offsets, scatter, shots");
  compare->add_option("first", arguments.first_arrow)->type_name("ARROW")->required();
  compare->add_option("second", arguments.second_arrow)->type_name("ARROW")->required();
  with_bow(compare, "On this bow alone");
  with_span(compare);
  with_files(compare);

  CLI::App* note = add("note", "Add a dated note");
  note->add_option("text", arguments.note_text)->type_name("TEXT")->required();
  note->add_option("--date", arguments.date, "Of this day or time; else now")->type_name("DATE");
  with_bow(note, "About this bow");

  CLI::App* notes = add("notes", "The notes");
  with_files(notes);
  with_bow(notes, "About this bow alone");
  with_span(notes);

  CLI::App* out = add("export", "Write the whole logbook as plain files");
  out->add_option("--csv", arguments.csv, "A new folder, one CSV file for each table")
      ->type_name("FOLDER");
  with_json(out);

  const auto with_entry = [&](CLI::App* sub) {
    sub->add_option("clip", arguments.clip,
                    "A clip, as b.mp4 or 2-lower/b.mp4, or one of its\nshots, as b.mp4#2")
        ->type_name("CLIP");
    sub->add_option("--session", arguments.session,
                    "Of this session, by name or folder; without a clip\nthe whole session")
        ->type_name("NAME");
  };
  with_entry(add("forget", "Show a shot, a clip or a session in no answer any more"));
  with_entry(add("remember", "Take back what was forgotten"));
  with_files(add("forgotten", "What was forgotten"));

  CLI::App* merge = add("merge", "Take in what another logbook holds; that one is only read");
  merge->add_option("from", arguments.from, "The other logbook's file")
      ->type_name("FILE")
      ->required();

  CLI::App* in = add("import", "Take an export into an empty logbook, without loss");
  in->add_option("from", arguments.from, "The folder or the JSON file that export wrote")
      ->type_name("PATH")
      ->required();
  return command;
}

int run_logbook(const CLI::App& command, const LogbookArguments& arguments) {
  const auto named = [&command](const char* name) { return command.got_subcommand(name); };
  if (named("note")) {
    check_files(arguments);
    logbook::Logbook book = open(arguments, logbook::Access::write);
    const auto new_name =
        book.add_note({report::utc_of_local(arguments.date), arguments.note_text, arguments.bow});
    if (new_name) {
      fmt::print(stderr, "nocktrail: {}\n", rules::printable(logbook::in_words(*new_name)));
    }
    say(fmt::format("{}: noted\n", book.file().string()));
  } else if (named("forget") || named("remember")) {
    run_forget(arguments, named("forget"));
  } else if (named("merge")) {
    run_merge(arguments);
  } else if (named("import")) {
    run_import(arguments);
  } else if (named("export")) {
    run_export(arguments);
  } else if (named("before")) {
    run_before(arguments);
  } else {
    const logbook::Filter filter = filter_of(arguments);
    check_files(arguments, named("shots")       ? of_list<logbook::ShotAnswer>()
                           : named("notes")     ? of_list<logbook::Note>()
                           : named("forgotten") ? of_list<logbook::ForgottenEntry>()
                           : named("compare")   ? of_answer(logbook::CompareAnswer{}, {})
                                                : of_list<logbook::SetupAnswer>());
    const logbook::Logbook book = open(arguments, logbook::Access::read);
    if (named("shots")) {
      show(arguments, logbook::shots(book, filter, arguments.history));
    } else if (named("setups")) {
      show(arguments, logbook::setups(book, filter));
    } else if (named("liked")) {
      show(arguments, logbook::liked(book, filter));
    } else if (named("compare")) {
      show(arguments,
           logbook::compare(book, arguments.first_arrow, arguments.second_arrow, filter));
    } else if (named("forgotten")) {
      show(arguments, logbook::forgotten(book));
    } else {
      show(arguments, logbook::notes(book, filter));
    }
  }
  return kAllMeasured;
}

}  // namespace nocktrail::cli
