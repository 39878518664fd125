// How long a large logbook takes: fills one with invented sessions through the library's own
// recording, asks it every question of `nocktrail logbook`, exports it and imports it again, and
// prints a table. Each question is a run of the built program, as an archer would ask, from start
// to the last line of its answer.
//   logbook_bench PROGRAM FOLDER [SHOTS]
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cstdlib>
#include <exception>
#include <filesystem>
#include <random>
#include <string>

#include "nocktrail/logbook/logbook.hpp"

namespace {

using namespace nocktrail;
namespace fs = std::filesystem;

// As archers shoot: a session of five set-ups, a dozen arrows' shots each.
constexpr int kSetups = 5;
constexpr int kShotsEach = 12;
constexpr int kShotsOfSession = kSetups * kShotsEach;

double seconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

// Of figures that only have to differ: any generator does.
class Inventor {
 public:
  double between(double low, double high) {
    return low + (high - low) * static_cast<double>(draw_() >> 11) * 0x1.0p-53;
  }
  std::string sha256() {
    return fmt::format("{:016x}{:016x}{:016x}{:016x}", draw_(), draw_(), draw_(), draw_());
  }

 private:
  std::mt19937_64 draw_{71};
};

tune::ClipRecord invented_clip(Inventor& invent, const std::string& day, int setup, int shot) {
  tune::ClipRecord clip;
  clip.file = fmt::format("IMG_{:02}{:02}.mp4", setup, shot);
  clip.sha256 = invent.sha256();
  clip.filmed_at_utc = fmt::format("{}T{:02}:{:02}:00Z", day, 9 + setup, 2 * shot);
  clip.read_at_utc = day + "T20:00:00Z";
  clip.program_version = "0.1.0";
  clip.still = "nocktrail-results/stills/" + clip.sha256.substr(0, 16) + "-12345678.png";
  clip.reading.status = ClipStatus::measured;
  clip.reading.clip.sha256 = clip.sha256;
  clip.reading.clip.capture_fps = 240.0;
  clip.reading.camera.focal_px = 1386.7;
  Shot one;
  one.status = ShotStatus::measured;
  one.exit_s = 0.8;
  one.nock_right_deg = Measured{invent.between(-4.0, 4.0), 0.21};
  one.nock_high_deg = Measured{invent.between(-2.0, 2.0), 0.6};
  one.speed_mps = Measured{invent.between(45.0, 58.0), 5.0};
  one.verdict.summary = "Reads weak for a right-handed archer: nock left 1.4 ± 0.2 deg.";
  clip.reading.shots.push_back(one);
  return clip;
}

struct Recorded {
  tune::SessionRecord session;
  tune::SessionJudgement judgement;
};

Recorded invented_session(Inventor& invent, int number) {
  const std::string day =
      fmt::format("{:04}-{:02}-{:02}", 2000 + number / 300, 1 + number / 25 % 12, 1 + number % 25);
  Recorded made;
  made.session.name = fmt::format("evening {}", number);
  made.session.folder = fmt::format("/nowhere/nocktrail-bench/{}", number);
  for (int k = 0; k < kSetups; ++k) {
    tune::SetupRecord setup;
    setup.name = fmt::format("{}-setup", k + 1);
    setup.facts.hand = Hand::right;
    setup.facts.bow.name = fmt::format("Bow {}", number % 40);
    setup.facts.bow.draw_weight_n = 200.0;
    setup.facts.bow.nocking_point_m = 0.016 - 0.001 * k;
    setup.facts.arrow.name = fmt::format("Shaft {}", number % 25);
    setup.facts.arrow.tip_mass_kg = 0.008;
    setup.facts.notes = k == 0 ? "new string, wind from the left" : "";
    tune::SetupJudgement judged;
    judged.name = setup.name;
    judged.counted = kShotsEach;
    judged.lateral = tune::OffsetSummary{invent.between(-2.0, 2.0), 0.4, 0.3, 11.0};
    judged.vertical = tune::OffsetSummary{invent.between(-1.0, 1.0), 0.6, 0.4, 11.0};
    judged.summary = "Mean of 12 shots: nock left 1.4 ± 0.4 deg, spine weak.";
    for (int i = 0; i < kShotsEach; ++i) {
      setup.clips.push_back(invented_clip(invent, day, k, i));
    }
    made.session.setups.push_back(setup);
    made.judgement.setups.push_back(judged);
  }
  made.judgement.next.kind = StepKind::done;
  return made;
}

struct Run {
  double seconds = 0.0;
  double memory_mb = 0.0;
  int status = -1;
};

// Through a shell, so that questions read as they are typed; it runs the program in its own place.
Run run(const std::string& command) {
  const auto start = std::chrono::steady_clock::now();
  const pid_t child = ::fork();
  if (child == 0) {
    ::execl("/bin/sh", "sh", "-c", ("exec " + command).c_str(), nullptr);
    ::_exit(127);
  }
  int status = 0;
  struct rusage used {};
  ::wait4(child, &status, 0, &used);
  return {seconds_since(start), static_cast<double>(used.ru_maxrss) / 1024.0,
          WIFEXITED(status) ? WEXITSTATUS(status) : -1};
}

void fill(const fs::path& file, int shots) {
  logbook::Logbook book(file);
  Inventor invent;
  const auto start = std::chrono::steady_clock::now();
  double last_s = 0.0;
  const int sessions = (shots + kShotsOfSession - 1) / kShotsOfSession;
  for (int number = 0; number < sessions; ++number) {
    const Recorded made = invented_session(invent, number);
    const auto one = std::chrono::steady_clock::now();
    book.record(made.session, made.judgement);
    last_s = seconds_since(one);
    if (number % 10 == 0) {
      book.add_note({made.session.setups[0].clips[0].filmed_at_utc,
                     fmt::format("string {} broke", number),
                     made.session.setups[0].facts.bow.name});
    }
  }
  fmt::print("{} shots in {} sessions recorded in {:.1f} s; the last session of {} in {:.3f} s\n",
             sessions * kShotsOfSession, sessions, seconds_since(start), kShotsOfSession, last_s);
}

void bench(const std::string& program, const fs::path& folder, int shots) {
  const fs::path file = folder / "logbook.sqlite";
  fs::create_directories(folder);
  if (!fs::exists(file)) {
    fill(file, shots);
  }
  const auto megabytes = [](const fs::path& path) {
    return static_cast<double>(fs::file_size(path)) / 1e6;
  };
  fmt::print("{:.1f} MB\n\n| asked | s | MB of memory | exit |\n|---|---|---|---|\n",
             megabytes(file));
  const auto ask = [&](const std::string& words, const fs::path& book) {
    const Run ran = run(fmt::format("'{}' logbook {} --logbook '{}' >'{}'", program, words,
                                    book.string(), (folder / "answer").string()));
    fmt::print("| `{}` | {:.2f} | {:.0f} | {} |\n", words, ran.seconds, ran.memory_mb, ran.status);
  };
  for (const char* question :
       {"shots", "shots --history", "shots --bow 'Bow 7'", "shots --year 2004", "shots --json -",
        "setups", "setups --arrow 'Shaft 7'", "setups --json -", "liked", "liked --bow 'Bow 7'",
        "before 2004-06-15", "before 2004-06-15 --bow 'Bow 7'", "before --note 'string 500 broke'",
        "compare 'Shaft 7' 'Shaft 12'", "notes", "note 'bench'"}) {
    ask(question, file);
  }
  const fs::path json = folder / "export.json";
  const fs::path csv = folder / "export";
  fs::remove_all(csv);
  fs::remove(json);
  ask(fmt::format("export --json '{}'", json.string()), file);
  ask(fmt::format("export --csv '{}'", csv.string()), file);
  for (const fs::path& from : {json, csv}) {
    const fs::path again = folder / "again.sqlite";
    fs::remove(again);
    ask(fmt::format("import '{}'", from.string()), again);
  }
  fmt::print("\nexported as JSON {:.1f} MB\n", megabytes(json));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 3) {
    fmt::print(stderr, "logbook_bench PROGRAM FOLDER [SHOTS]\n");
    return 2;
  }
  try {
    bench(argv[1], argv[2], argc > 3 ? std::atoi(argv[3]) : 100'000);
  } catch (const std::exception& problem) {
    fmt::print(stderr, "logbook_bench: {}\n", problem.what());
    return 1;
  }
  return 0;
}
