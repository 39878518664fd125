// A session's folder: clips dropped from the phone, a few lines of TOML, sub-folders for set-ups.
// Every clip is read once, by its content; what was read is kept beside the clips.
//
//   FOLDER/session.toml            what was shot (facts_file.hpp), optional
//   FOLDER/1-start/setup.toml      what changed, optional; set-ups in natural order of their names
//   FOLDER/1-start/IMG_01.mp4 ...
//   FOLDER/1-start/IMG_02.mp4.reading.json   a reading made elsewhere
//   FOLDER/nocktrail-results/      ours: readings/, stills/, files.json, and what the caller adds
//   FOLDER/nocktrail-marks/        what was marked by hand in clips (kept_marks.hpp)
//
// A folder without set-up folders is one set-up itself, ".".
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/marks.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::session {

inline constexpr const char* kResultsFolder = "nocktrail-results";

// A clip that is to be read, with all that the archer said of it.
struct PlannedClip {
  std::filesystem::path path;
  bool away = false;                         // not there: reading_beside stands in for it
  std::string dropped;                       // the reason; empty: it counts
  std::map<int, std::string> dropped_shots;  // of single shots, by their number from 1
  Hand hand = Hand::unknown;                 // of this clip alone
  std::optional<double> cant_deg;            // likewise
  std::optional<double> focal_35mm;          // that holds: the clip's own, else the set-up's
  std::optional<double> capture_fps;         // likewise
  bool told_focal = false;                   // by a table of the clip's own
  bool told_rate = false;                    // likewise
};

struct PlannedSetup {
  std::string name;  // of the folder; "." for the session's own
  tune::SetupFacts facts;
  std::vector<PlannedClip> clips;  // by natural order of their names
};

struct Plan {
  std::string name;              // what session.toml says, else the folder's own
  std::filesystem::path folder;  // absolute
  std::string made_up;           // what of it was never shot; empty: it was
  std::vector<PlannedSetup> setups;
  std::vector<std::string> messages;  // what is odd but stops nothing, one line each
  std::vector<std::string> faults;    // of the TOML files, one line each: mend them first
};

// What is in the folder, without opening a clip. Throws BadInput when the folder cannot be listed.
// Files that are no video by their ending, and hidden ones, are passed over in silence.
// `archer`: what the archer wrote once for all sessions (facts_file.hpp).
Plan load(const std::filesystem::path& folder, const ArcherFiles& archer = {});

// The clip of that name in that set-up; null where the plan has none.
const PlannedClip* planned_clip(const Plan& plan, const std::string& setup,
                                const std::string& file);

// Reads a clip; read_clip, or a fake of it in tests. May throw like it.
using ReadFunction = std::function<Reading(
    const std::filesystem::path& path, const ReadClipOptions& options, const Progress& progress)>;
// The same by what a person marked in it; read_marked, or a fake of it.
using ReadMarkedFunction =
    std::function<Reading(const std::filesystem::path& path, const Marks& marks,
                          const ReadClipOptions& options, const Progress& progress)>;
// The PNG bytes of the still of one shot; empty when there is nothing to show.
struct StillRequest {
  std::filesystem::path clip;
  std::size_t shot = 0;
  Hand hand = Hand::unknown;
  double dead_band_deg = 0.5;
  std::vector<std::string> particulars;  // of the set-up, in words, to be written on the still
  std::vector<std::string> stops;        // what its limits forbid, in words, to be written first
};
using DrawFunction = std::function<std::string(const Reading& reading, const StillRequest&)>;

struct ReadSessionOptions {
  std::filesystem::path results;  // empty: kResultsFolder in the session's folder
  ArcherFiles archer;             // as for load()
  double dead_band_deg = 0.5;     // offsets smaller than this count as straight
  unsigned workers = 2;           // clips read at the same time
  bool stills = true;
  ReadFunction read;               // empty: nocktrail::read_clip
  ReadMarkedFunction read_marked;  // empty: nocktrail::read_marked
  DrawFunction draw;               // empty: picture::draw_still
  // Clips for which this says true are left for later: their copy has not finished.
  std::function<bool(const std::filesystem::path&)> not_yet;
};

// Told as the work goes on, by one thread at a time. Any of them may be empty.
struct SessionEvents {
  struct Step {
    std::size_t done = 0;  // clips read
    std::size_t total = 0;
    std::string clip;
    std::string what;
    double share = 0.0;  // of this clip
  };
  std::function<void(const Step&)> step;
  // A clip was read just now and its reading is kept; its still is not drawn yet, which takes as
  // long again for a short clip.
  std::function<void(const std::string& setup, const tune::ClipRecord& clip)> read;
  // A clip is ready. `fresh`: read just now, not taken from an earlier run.
  std::function<void(const std::string& setup, const tune::ClipRecord& clip, bool fresh)> clip;
  std::function<void(const std::string& line)> message;
  std::function<bool()> stop;  // true: stop soon
};

struct SessionRead {
  tune::SessionRecord record;         // of the clips that were read, now or before
  std::vector<std::string> messages;  // the plan's and what came up, one line each
  std::vector<std::string> faults;    // not empty: nothing was read (Plan::faults)
  // Where the stills lie until what refers to them is published, by the names of their files; those
  // in ClipRecord::still are theirs from then on.
  std::map<std::string, std::filesystem::path> drawn;
  std::size_t fresh = 0;   // clips read in this run
  std::size_t kept = 0;    // clips read in an earlier one
  std::size_t unread = 0;  // clips left for the next run
  bool stopped = false;    // by SessionEvents::stop
  // Stopped by a fault of the run, such as a full disk, which a message names. `record` is then a
  // part of the session, and no judgement may rest on it.
  bool halted = false;
  bool failed = false;  // the program itself failed on some clip, which a message names
};

// What is to be done with a session while its folder is still held: judging and publishing it.
// Called once, unless it stopped, halted, or the hand-written files have faults. Returns false when
// what was published before still stands; its stills are then kept.
using WhileHeld = std::function<bool(const SessionRead& read, const report::OwnFolder& results)>;

// Reads every clip that was not yet read with the same content, the same facts that bear on
// measuring (arrow length, focal length, capture rate) and the same version of the program; the
// rest comes from the results. A clip in which a person marked the arrow is read by those marks,
// and anew when they change. Hand and cant only judge anew. Each reading is on the disk before the
// next is begun, whole or not at all, so that a kill at any instant loses only what was being read.
// Throws BadInput when the folder cannot be listed or the results cannot be written there.
//
// One process at a time has the folder, from before its files are listed until `while_held` has
// returned; others wait. What goes wrong with one clip, whatever it throws, is that clip's alone.
SessionRead read_session(const std::filesystem::path& folder, const ReadSessionOptions& options,
                         const SessionEvents& events = {}, const WhileHeld& while_held = {});

class KeptMarks;
class Results;
struct Job;
struct StoredReading;

// Single clips read by another worker, on this machine or another one that shares the folder: each
// is kept as read_session would have kept it, by content and facts, and read_session then takes it
// from there. Takes no lock: several may work on one folder, also on the same clip, for every file
// is written whole and under a name that its content decides.
class IntoSession {
 public:
  // Throws BadInput when the folder cannot be listed, a hand-written file has a fault, or the
  // results cannot be written.
  IntoSession(const std::filesystem::path& folder, const ReadSessionOptions& options);
  IntoSession(const IntoSession&) = delete;
  IntoSession& operator=(const IntoSession&) = delete;
  ~IntoSession();

  // The clip as read, judged by the session's facts; from the results where it was read before.
  // Throws UnreadableClip for a clip that cannot be read, is not the session's or changes
  // meanwhile, which is that clip's alone; BadInput when its reading cannot be kept, as the next
  // could not be either; Interrupted.
  tune::ClipRecord read(const std::filesystem::path& clip, const Progress& progress = {});

  // What read() would give without reading: empty where it would have to, or where the clip is none
  // of the session's. Throws UnreadableClip as read() does.
  std::optional<tune::ClipRecord> kept(const std::filesystem::path& clip);

  // What read() would give were these marks kept, and keeps nothing. Throws besides what
  // nocktrail::read_marked does.
  tune::ClipRecord try_marks(const std::filesystem::path& clip, const Marks& marks,
                             const Progress& progress = {});

 private:
  ReadSessionOptions options_;
  struct Place {
    const PlannedSetup* setup = nullptr;
    const PlannedClip* clip = nullptr;
  };
  Job job_of(const std::filesystem::path& clip);
  tune::ClipRecord finished(Job& job, StoredReading stored) const;

  Plan plan_;
  std::map<std::filesystem::path, Place> places_;  // by the clip's path, links followed
  std::unique_ptr<KeptMarks> marks_;
  std::unique_ptr<Results> results_;
};

// The reading that is kept of a clip in the session's folder that it lies in, judged by the facts
// that hold now. Empty where it lies in none, was not read yet with these facts by this version, or
// a hand-written file has a fault. Reads nothing anew, and writes nothing but a folder of results
// that is there.
std::optional<tune::ClipRecord> kept_reading(const std::filesystem::path& clip,
                                             const ReadSessionOptions& options);

// Where the results of a session in `folder` go: options.results, links followed, else beside the
// clips, where the last part of the path must be no link.
std::filesystem::path results_folder(const std::filesystem::path& folder,
                                     const ReadSessionOptions& options);

// "7" before "10": runs of digits compare as numbers, the rest byte by byte.
bool natural_less(const std::string& a, const std::string& b);

// By its ending.
bool is_video_name(const std::filesystem::path& path);

// Where a reading made elsewhere is looked for, beside its clip or in the clip's place. It is taken
// where it is of the clip's content and of the facts that hold.
std::filesystem::path reading_beside(const std::filesystem::path& clip);

// What is there of a clip: itself, else the reading that stands in for it.
std::filesystem::path on_disk(const PlannedClip& clip);

}  // namespace nocktrail::session
