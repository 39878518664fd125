// The plain data of a tuning session: what was shot with what, and what the reader saw. The
// session room fills it in from a folder, the judgement, the logbook and the page read it.
//
// SI throughout. An empty optional or string means "not told", never zero.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/setup.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail::tune {

enum class Fletching { unknown, fletched, bare };

// In which way the archer told the shaft's stiffness; kept so that it is printed back alike.
enum class SpineConvention {
  deflection_in,  // inches over 28 in under 1.94 lb (the ASTM F2031 span and load)
  wood_pounds     // 26 / deflection over 26 in under 2 lb
};

struct SpineTold {
  SpineConvention convention = SpineConvention::deflection_in;
  double value = 0.0;  // inches or pounds, by convention
};

struct BowFacts {
  std::string name;    // the archer's own word for it
  std::string string;  // which string, of how many strands
  std::optional<double> string_mass_kg;
  std::optional<double> draw_weight_n;  // at the rated draw
  std::optional<double> rated_draw_m;   // AMO; 28 in where not told
  std::optional<double> brace_height_m;
  std::optional<double> brace_min_m;  // the bow maker's range
  std::optional<double> brace_max_m;
  std::optional<double> min_grains_per_pound;  // the bow maker's floor
  std::optional<double> max_draw_m;            // AMO, the farthest that the bow's maker allows
  std::optional<double> max_draw_weight_n;     // the most that may be held, likewise
  std::optional<double> plate_offset_m;        // strike plate from the string's plane, outside +
  std::optional<double> nocking_point_m;       // underside above square from the shelf
};

struct ArrowFacts {
  std::string name;
  std::optional<SpineTold> spine;
  arrow::SpineGroups groups = arrow::SpineGroups::deflection;
  std::optional<double> shaft_length_m;  // nock throat to the end of the shaft, tip excluded
  std::optional<double> arrow_length_m;  // nock throat to the end of the point: what a clip shows
  std::optional<double> diameter_m;
  std::optional<double> mass_per_length_kg_per_m;
  std::optional<double> tip_mass_kg;
  std::optional<double> nock_mass_kg;
  std::optional<double> total_mass_kg;
  Fletching fletching = Fletching::unknown;
  std::optional<double> fletching_mass_kg;
  // A tapered tail, as in arrow::Shaft; empty means parallel.
  std::optional<double> taper_length_m;
  std::optional<double> taper_end_diameter_m;
};

struct CameraTold {
  std::optional<double> focal_35mm;
  std::optional<double> capture_fps;
  std::string phone;  // the archer's own word for it; its focal length is in focal_35mm
};

// What holds for every shot of one set-up.
struct SetupFacts {
  Hand hand = Hand::unknown;
  std::optional<double> cant_deg;
  std::optional<double> draw_m;             // the archer's, AMO
  std::optional<double> target_distance_m;  // arrow rest to the butt's face
  BowFacts bow;
  std::vector<BowFacts> bows_before;  // as they stood when another was named
  ArrowFacts arrow;
  CameraTold camera;
  std::string notes;
  // Why the archer takes the nock's height as it is, though it is not level; empty: not accepted.
  std::string accepted_nock_height;
};

// One clip of a set-up, as read with the facts that hold now.
struct ClipRecord {
  std::string file;    // name within the set-up's folder
  bool away = false;   // the clip is not there: its reading, made elsewhere, stands in for it
  std::string sha256;  // of its content: what it is known by
  // What it forbade, where its reading cannot be taken as things stand (made with other facts, and
  // the clip away): a sentence. Empty: nothing.
  std::string forbade = {};
  Reading reading;                  // status, reason and shots
  std::string still;                // path relative to the session folder; empty: none was drawn
  std::vector<std::string> stills;  // of each shot, likewise; `still` is one of them
  std::string dropped;              // the archer's reason for leaving it out; empty: it counts
  // Likewise of single shots of a clip that holds several, by their number from 1.
  std::map<int, std::string> dropped_shots;
  // Which shots are counted elsewhere, since another clip shows the same flight, and where
  // (same_flight.hpp); by number likewise.
  std::map<int, std::string> same_as = {};
  Hand hand = Hand::unknown;       // overrules the set-up's for this clip
  std::optional<double> cant_deg;  // likewise
  std::string program_version;     // that read it
  std::string read_at_utc;         // ISO 8601
  std::string filmed_at_utc;       // ISO 8601: the clip's own tag, else its file's time
};

struct SetupRecord {
  std::string name;               // the folder's name, "." for the session folder itself
  SetupFacts facts;               // everything that holds: inherited, then changed
  std::vector<ClipRecord> clips;  // by name
};

struct SessionRecord {
  std::string name;    // the folder's own name, or what the file says
  std::string folder;  // absolute path
  // What of it was never shot, in the words of who made it up; empty: it was.
  std::string made_up;
  std::vector<SetupRecord> setups;  // in order of shooting
};

}  // namespace nocktrail::tune
