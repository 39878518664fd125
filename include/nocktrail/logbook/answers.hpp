// What an archer asks of the logbook, as plain data.
//
// Times are texts of ISO 8601 in UTC: when a clip was filmed, or where that is not known, read.
// Names match whatever their case. Of the same content under several folders one clip counts, and
// what was forgotten (forget.hpp) nowhere. Everything here throws BadInput as the Logbook does, and
// for a name that the logbook does not know, naming those it does.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/logbook/logbook.hpp"

namespace nocktrail::logbook {

// Empty: all of them.
struct Filter {
  std::string bow;
  std::string arrow;
  std::string since;  // "2026", "2026-05", "2026-05-30" or a date and time; inclusive
  std::string until;  // likewise; "2026" includes the whole of that year
};

struct SetupAnswer {
  std::string session;
  std::string folder;
  std::string name;
  std::string first_at;  // of its clips
  std::string last_at;
  tune::SetupFacts facts;
  std::optional<tune::SetupFacts> before;  // of the set-up before it in its session
  // As last judged; no verdict yet: counted is 0 and the words are empty.
  int counted = 0;
  int forgotten = 0;  // of these, forgotten since
  int elsewhere = 0;  // of these, whose content counts with another set-up
  std::optional<tune::OffsetSummary> lateral;
  std::optional<tune::OffsetSummary> vertical;
  std::string spine;
  std::string nocking_point;
  std::string summary;
  std::vector<std::string> stops;  // what forbids to shoot as it was shot, whole texts
  bool done = false;  // the last set-up of a session whose advice is that nothing is left to do
};

struct ShotAnswer {
  std::string session;
  std::string setup;
  std::string bow;
  std::string arrow;
  std::string clip;
  int number = 1;  // within the clip; 0 when no shot was found in it
  std::string at;
  std::string status;  // "measured", "refused", "no-shot", "error"
  std::string reason;
  std::optional<Measured> nock_right_deg;  // as seen from behind, upright
  std::optional<Measured> nock_high_deg;
  std::optional<Measured> bow_right_deg;  // in the bow's frame; empty of readings from before it
  std::optional<Measured> bow_high_deg;   // was always known
  std::string dropped;                    // the archer's reason
  std::string outlier;                    // the judgement's
  std::string still;                      // relative to the session's folder
  bool present = true;                    // false: its clip is no longer in the folder
  bool current = true;                    // false: an older reading
  std::string program_version;
};

// In order of time; with `history` the readings by older versions of the program too.
std::vector<ShotAnswer> shots(const Logbook& logbook, const Filter& filter, bool history = false);

std::vector<SetupAnswer> setups(const Logbook& logbook, const Filter& filter);

// What a bow liked: the set-ups that ended matched and level, or at which nothing was left to do.
std::vector<SetupAnswer> liked(const Logbook& logbook, const Filter& filter);

struct BeforeAnswer {
  std::string at;                     // the moment asked about
  std::string note;                   // the note that told it; empty when asked by date
  std::vector<SetupAnswer> in_force;  // one of each bow: the last one begun before that moment
  // Begun on the day asked about, when no time of day was told: before or after, who knows.
  std::vector<SetupAnswer> same_day;
};

// `until`: the last second of the day asked about, where `at` is its first; a day alone is one of
// UTC.
BeforeAnswer before_date(const Logbook& logbook, const std::string& at, const std::string& bow,
                         const std::string& until = {});

// By the latest note (or set-up's notes) that holds `words`; a note of one bow asks of that bow.
BeforeAnswer before_note(const Logbook& logbook, const std::string& words, const std::string& bow);

struct ComparedArrow {
  std::string name;
  int counted = 0;                  // shots, over all its set-ups, none twice, none forgotten
  std::vector<SetupAnswer> setups;  // in order of time
};

struct CompareAnswer {
  ComparedArrow first;
  ComparedArrow second;
  // Second less first, each at its last judged set-up on the same bow; the two intervals added as
  // independent ones are (root sum of squares, JCGM 100:2008, 5.1). Empty: no bow shot both.
  std::string bow;
  std::string first_setup;  // "session / set-up"
  std::string second_setup;
  std::optional<Measured> lateral_difference_deg;
  std::optional<Measured> vertical_difference_deg;
};

CompareAnswer compare(const Logbook& logbook, const std::string& first, const std::string& second,
                      const Filter& filter);

// In order of time.
std::vector<Note> notes(const Logbook& logbook, const Filter& filter);

}  // namespace nocktrail::logbook
