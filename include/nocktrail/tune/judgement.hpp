// From the shots of a session to what they say: the offset of each set-up with its scatter, what
// this bow answers to a change, the next step, and, when nothing is left to do, the build sheet.
//
// Angles in degrees, in the frame of the bow (cant taken out where told), nock to the shooter's
// right and nock high positive; lengths in metres, masses in kilograms. Statistics: Student's t and
// combination of uncertainties as in JCGM 100:2008 (GUM), 4.2, 5.1 and G.4.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/unknowns.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::tune {

struct JudgementOptions {
  double dead_band_deg = 0.5;      // offsets smaller than this count as straight
  double overshoot_chance = 0.05;  // what a step may risk of going past straight
  double largest_trim_m = 0.25 * units::kMetresPerInch;
  double nocking_point_step_m = units::kMetresPerInch / 16.0;
  std::uint64_t seed = 1;  // of the draws behind the model's prior
  std::size_t draws = 400;
};

// One measured shot, in the bow's frame, its intervals with what is not known of the cant.
struct JudgedShot {
  std::string clip;  // file name, with "#2" for the second shot of a clip
  Measured lat_deg;
  Measured vert_deg;
  // Of the intervals, what is left when the cant, alike in all shots, is taken as exact.
  double own_lat_u95_deg = 0.0;
  double own_vert_u95_deg = 0.0;
  // Of those, the part that the next shot of the same phone, place and arrow shares.
  double shared_lat_u95_deg = 0.0;
  double shared_vert_u95_deg = 0.0;
  int place = 0;  // from which it was filmed: as those of the same number, as far as seen
  double correlation = 0.0;  // of the errors of the two
  bool dropped = false;      // by the archer
  bool outlier = false;      // far from the others: named, its weight reduced, not removed
  std::string why;           // of the drop, or of the outlier
};

// A shot filmed from the side: up and down alone.
struct SideShot {
  std::string clip;
  Measured high_deg;  // against plumb
  double shared_u95_deg = 0.0;
  double cant_deg = 0.0;             // of the bow at this shot: told for it, or as the set-up's
  std::optional<Measured> vert_deg;  // in the frame of the bow; empty until the cant is known and
                                     // shots from behind say how it trails to the side
  bool dropped = false;              // by the archer
  std::string why;
};

struct OffsetSummary {
  double mean_deg = 0.0;      // robust
  double u95_deg = 0.0;       // scatter, measurement (with Student's factor) and the cant together
  double scatter_deg = 0.0;   // standard deviation shot to shot, measurement taken out
  double freedom = 0.0;       // effective degrees of freedom (Welch-Satterthwaite)
  double cant_u95_deg = 0.0;  // of u95_deg, what is not known of the cant
  // Of u95_deg, what more shots of the same phone, place and arrow do not take away: the cant, and
  // what the readings' errors share.
  double lasting_u95_deg = 0.0;
  // Of that, without the cant, what shots from another place share.
  double elsewhere_u95_deg = 0.0;
};

struct SetupJudgement {
  std::string name;
  std::vector<JudgedShot> shots;     // every measured shot, dropped ones too
  std::vector<SideShot> side_shots;  // likewise, in the vertical summary with the others
  int counted = 0;                   // shots from behind in the summaries
  int refused = 0;                   // clips without a number
  // The clip that was refused because the arrow stands across its flight, or whose reading forbade
  // but cannot be taken as things stand, and why; empty: none.
  std::string across;
  // What forbids to shoot it as it is, each a whole text; empty: nothing that is known of.
  std::vector<std::string> stops;
  Bow bow;                               // how it stood: told, seen or assumed
  std::optional<OffsetSummary> lateral;  // empty with no counted shot
  std::optional<OffsetSummary> vertical;
  double correlation = 0.0;  // of the shots' lateral and vertical offsets, measured or 0
  SpineVerdict spine = SpineVerdict::unclear;
  NockingPointVerdict nocking_point = NockingPointVerdict::unclear;
  std::string summary;                // one sentence
  std::vector<std::string> warnings;  // form, unequal shots, contact, ...
};

// What an archer can change, and what the judgement reasons about.
enum class Quantity { shaft_length, tip_mass, nocking_point, brace_height, plate_offset, spine };

// The answer of this bow to one quantity: offset = f(quantity), prior and data together.
struct Learned {
  Quantity quantity = Quantity::shaft_length;
  bool whole_arrow = false;  // of shaft_length: the arrow with its tip, the shaft's not being told
  bool vertical = false;  // which offset it moves: the nocking point the vertical, others lateral
  struct Point {
    std::string setup;
    double at = 0.0;  // m or kg
    Measured offset_deg;
  };
  std::vector<Point> data;
  struct Curve {
    std::vector<double> at;               // ascending
    std::vector<arrow::Band> offset_deg;  // of the mean offset, 95 %
  };
  std::optional<Curve> prior;  // from the arrow model; empty without a complete set-up
  Curve posterior;
  arrow::Band slope_deg_per_unit;  // per m or per kg, at the latest set-up
  std::optional<arrow::Band> prior_slope_deg_per_unit;
  std::optional<arrow::Band> straight_at;  // where the offset is zero; empty: not reached
  std::string prior_words;                 // where the prior came from, for people
};

struct Step {
  StepKind kind = StepKind::none;
  std::optional<double> amount;            // m or kg, positive, of the change; shots for film_more
  std::string words;                       // what to do, with the amount in the archer's units
  std::string because;                     // from which figures
  std::optional<double> overshoot_chance;  // of a step that cannot be undone
  std::vector<std::string> cautions;
};

struct BuildLine {
  std::string what;       // "Finished shaft length, without the tip"
  std::string value;      // with its unit, or empty: to be measured
  std::string tolerance;  // for the rest of the set, from the sensitivities; may be empty
};

struct BuildSheet {
  std::vector<BuildLine> bow;
  std::vector<BuildLine> arrow;
  std::string offsets;               // the measured offsets in words
  std::vector<std::string> columns;  // what to measure on each arrow of the set
  int arrows = 12;                   // rows to fill in
  std::vector<std::string> cautions;
};

struct SessionJudgement {
  std::vector<SetupJudgement> setups;  // as in the record
  std::vector<Learned> learned;        // for each quantity that was changed or is to be changed
  Step next;
  std::optional<BuildSheet> build_sheet;  // only when done
  std::vector<std::string> cautions;
};

// The same record, options and seed give the same judgement. Never throws for what shots or facts
// hold; facts out of range are left out of the model and said so in a warning.
SessionJudgement judge_session(const SessionRecord& session, const JudgementOptions& options = {});

const char* word(Quantity quantity);  // stable, for scripts: "shaft-length"

// The set-up of the arrow model, when the facts suffice for one; `missing` then lists what does
// not. Reasonable assumptions that do not change the answer much (diameter, nock mass) are made
// and named in `assumed`.
struct ModelSetup {
  std::optional<arrow::Setup> setup;
  std::vector<std::string> missing;
  std::vector<std::string> assumed;
};
ModelSetup model_setup(const SetupFacts& facts);

}  // namespace nocktrail::tune
