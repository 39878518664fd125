// One clip on its way from the plan to the record of its session.
#pragma once

#include <ctime>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/session/session.hpp"
#include "results.hpp"

namespace nocktrail::session {

struct Job {
  const PlannedSetup* setup = nullptr;
  const PlannedClip* clip = nullptr;
  std::string sha256;
  std::optional<Marks> marks;              // that it is read by
  std::string still_stem;                  // of its stills' names
  std::vector<std::string> still_ids;      // of each shot's still; empty where none was drawn
  std::optional<StoredReading> stands_in;  // of a clip that is away
  tune::ClipRecord record;
  bool ready = false;

  std::string name() const;  // "2-lower/IMG_01.mp4", printable
};

// What holds for the clip: its own, else its set-up's.
Hand hand_of(const Job& job);
std::optional<double> cant_of(const Job& job);

// The facts that bear on measuring it, and all that it is read with.
ReadWith read_with(const Job& job);
ReadClipOptions read_options(const Job& job, const ReadWith& with, double dead_band_deg);

// Takes up what a person marked in the clip, and gives the reading that was made of it with all
// that holds now, which `with` becomes; nothing where it is to be made. Marks that cannot be this
// clip's are told to `say`, one line, and left alone.
std::optional<StoredReading> stored_reading(Job& job, const KeptMarks& kept, const Results& results,
                                            ReadWith& with,
                                            const std::function<void(const std::string&)>& say);

// By the marks where there are some, else by the program. Throws like either.
Reading make_reading(const Job& job, const ReadWith& with, const ReadSessionOptions& options,
                     const Progress& progress);

// A reading that is about to be made, now, with what the file itself says of its day.
StoredReading begun_reading(const Job& job, const ReadWith& with);

// Of a clip that is away. Throws BadInput where its reading is damaged, or of other facts; what it
// forbids then goes on being forbidden.
StoredReading stand_in(Job& job, const KeptMarks& kept);
// From the results, else from beside the clip; empty when it has to be read.
std::optional<StoredReading> made_before(const Results& results, const Job& job,
                                         const ReadWith& with);

// What is kept becomes the job's record.
void take_stored(Job& job, StoredReading stored);

// Judges every shot anew from its reading.
void judge(Job& job, double dead_band_deg);

// Text of all that shows in a still, for its name.
std::string judged_by_words(const Job& job, const ReadWith& with, double dead_band_deg);

// Fills in what the record says beside the reading; times that are not told yet are now, or the
// file's.
void tell_particulars(Job& job);

// Of a clip on which the program itself failed.
Reading tripped();

// Empty for a time beyond the calendar of ISO 8601, years of four figures: a damaged file may have
// any.
std::string utc(std::time_t t);

// picture::draw_still as a DrawFunction.
std::string draw_with_picture(const Reading& reading, const StillRequest& request);

}  // namespace nocktrail::session
