// The built program as scripts meet it: exit status, streams, files. Exit statuses and streams are
// those of docs/measurement.md, "Commands that scripts rely on".
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

bool one_line(const std::string& text) {
  return std::count(text.begin(), text.end(), '\n') == 1 && text.back() == '\n';
}

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

void write(const fs::path& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

std::vector<std::string> test_clips() {
  std::vector<std::string> clips;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(NOCKTRAIL_TEST_CLIPS, error)) {
    const std::string ending = entry.path().extension().string();
    if (ending == ".mp4" || ending == ".mov") {
      clips.push_back(entry.path().string());
    }
  }
  std::sort(clips.begin(), clips.end());
  return clips;
}

}  // namespace

TEST_CASE("unit: help and version succeed on standard output") {
  for (const char* arguments : {"--help", "read --help", "--version"}) {
    const Ran ran = run_program(arguments);
    CHECK(ran.status == 0);
    CHECK(ran.err.empty());
    CHECK_FALSE(ran.out.empty());
  }
  CHECK(says(run_program("read --help").out, "Examples:"));
}

TEST_CASE("unit: a wrong command line is 2, one line, naming the option") {
  struct Row {
    const char* arguments;
    const char* named;
  };
  for (const Row& row : std::vector<Row>{
           {"shoot", "\"shoot\" is no command"},
           {"red x.mp4", "did you mean read?"},
           {"sesion", "did you mean session?"},
           {"/tmp", "nocktrail session /tmp"},
           {"/etc/passwd", "nocktrail read /etc/passwd"},
           {"read --hnad right x.mp4", "did you mean --hand?"},
           {"read --cnat=3 x.mp4", "did you mean --cant?"},
           {"read", "CLIP"},
           {"read --no-such-option x.mp4", "--no-such-option"},
           {"read --hand both x.mp4", "--hand"},
           {"read --cant 90.5 x.mp4", "--cant"},
           {"read --cant -91 x.mp4", "--cant"},
           {"read --cant steep x.mp4", "--cant"},
           {"read --focal-35mm 9 x.mp4", "--focal-35mm"},
           {"read --focal-35mm 201 x.mp4", "--focal-35mm"},
           {"read --picture-width 2.9m x.mp4", "--picture-width"},
           {"read --picture-width 1m@90m x.mp4", "--picture-width"},
           {"read --picture-width 2.9m@2m --focal-35mm 26 x.mp4", "leave one of them out"},
           {"read --view above x.mp4", "--view"},
           {"read --capture-fps 0 x.mp4", "--capture-fps"},
           {"read --capture-fps nan x.mp4", "--capture-fps"},
           {"read --capture-fps 2001 x.mp4", "--capture-fps"},
           {"read --dead-band -1 x.mp4", "--dead-band"},
           {"read --arrow-length 30 x.mp4", "--arrow-length"},
           {"read --arrow-length 39cm x.mp4", "--arrow-length"},
           {"read --arrow-length 1.2m x.mp4", "--arrow-length"},
           {"read --json /no/such/folder/x.json x.mp4", "--json"},
           {"read --still x.jpg x.mp4", "--still"},
           {"read --still /no/such/folder/x.png x.mp4", "--still"},
           {"read --debug /dev/null x.mp4", "--debug"}}) {
    CAPTURE(row.arguments);
    const Ran ran = run_program(row.arguments);
    CHECK(ran.status == 2);
    CHECK(ran.out.empty());
    CHECK(one_line(ran.err));
    CHECK(says(ran.err, row.named));
  }
}

TEST_CASE("unit: the bare name shows what people come for, ready to type") {
  const Ran ran = run_program("");
  CHECK(ran.status == 2);
  CHECK(ran.out.empty());
  for (const char* shown : {"nocktrail read ", "nocktrail session ", "nocktrail effects "}) {
    CHECK(says(ran.err, shown));
  }
}

TEST_CASE("unit: values at the ends of their ranges are taken") {
  for (const char* arguments :
       {"--cant -90", "--cant 90", "--cant 12deg", "--cant=-7,5deg", "--focal-35mm 10",
        "--focal-35mm 200", "--capture-fps 1", "--capture-fps 2000", "--arrow-length 0.4m",
        "--arrow-length 1100mm", "--hand left"}) {
    CAPTURE(arguments);
    CHECK(run_program(std::string("read no-such.mp4 ") + arguments).status == 4);
  }
}

TEST_CASE("fault: files that are no video are 4, one line each, and stop nothing") {
  const Folder folder;
  write(folder / "empty.mp4", "");
  write(folder / "text.mp4", "this is no video\n");
  write(folder / "noise.mp4", std::string(5000, '\x5a'));
  fs::create_directory(folder / "folder.mp4");
  std::string all;
  for (const char* name : {"empty.mp4", "text.mp4", "noise.mp4", "folder.mp4", "missing.mp4"}) {
    const std::string file = (folder / name).string();
    CAPTURE(name);
    const Ran ran = run_program("read '" + file + "'");
    CHECK(ran.status == 4);
    CHECK(ran.out.empty());
    CHECK(one_line(ran.err));
    CHECK(says(ran.err, name));
    all += " '" + file + "'";
  }
  const Ran ran = run_program("read --json -" + all);
  CHECK(ran.status == 4);
  const auto j = nlohmann::json::parse(ran.out);
  REQUIRE(j.size() == 5);
  for (const auto& reading : j) {
    CHECK(reading["status"] == "error");
    CHECK(reading["reason"].is_string());
    CHECK(reading["shots"].empty());
  }
}

TEST_CASE("fault: a file that cannot be read gives JSON and no still") {
  const Folder folder;
  const Ran ran =
      run_program(fmt::format("read --json '{}' --still '{}' no-such.mp4",
                              (folder / "r.json").string(), (folder / "s.png").string()));
  CHECK(ran.status == 4);
  CHECK(says(ran.err, "no still is written"));
  CHECK(nlohmann::json::parse(content(folder / "r.json"))["status"] == "error");
  CHECK(folder.entries() == 1);
}

TEST_CASE("truth: the clips in the repository, with all outputs") {
  const std::vector<std::string> clips = test_clips();
  if (clips.empty()) {
    MESSAGE("no clips in test-clips");
    return;
  }
  const Folder folder;
  const std::string clip = clips.front();
  const Ran ran = run_program(fmt::format("read --hand right --json - --still '{}' '{}'",
                                          (folder / "s.png").string(), clip));
  const auto j = nlohmann::json::parse(ran.out);
  CHECK(ran.status == (j["status"] == "measured" ? 0 : 3));
  CHECK(content(folder / "s.png").substr(1, 3) == "PNG");

  const Ran pair = run_program(fmt::format("read --json '{}' --still '{}' '{}' no-such.mp4 '{}'",
                                           (folder / "r.json").string(),
                                           (folder / "s.png").string(), clip, clip));
  CHECK(pair.status == 4);
  CHECK(nlohmann::json::parse(content(folder / "r.json")).size() == 3);
  CHECK(says(pair.out, fs::path(clip).filename().string()));
  const std::string stem = fs::path(clip).stem().string();
  CHECK(fs::exists(folder / fmt::format("s-{}.png", stem).c_str()));
  CHECK(fs::exists(folder / fmt::format("s-{}-2.png", stem).c_str()));
}

TEST_CASE("fault: Ctrl-C leaves with 130 and writes nothing") {
  const std::vector<std::string> clips = test_clips();
  if (clips.empty()) {
    MESSAGE("no clips in test-clips");
    return;
  }
  const Folder folder;
  std::string many;
  for (int k = 0; k < 20; ++k) {
    many += " '" + clips.front() + "'";
  }
  // exec, so that the signal meets the program and not the shell; -m, because a background job of
  // a shell without job control ignores SIGINT.
  const std::string command = fmt::format(
      "bash -mc \"exec '{}' read --quiet --json '{}' {}\" & pid=$!; sleep 0.5; kill -INT $pid; "
      "wait $pid",
      NOCKTRAIL_PROGRAM, (folder / "r.json").string(), many);
  write(folder / "run.sh", command);
  const int raw =
      std::system(fmt::format("bash -m '{}' 2>/dev/null", (folder / "run.sh").string()).c_str());
  CHECK(WEXITSTATUS(raw) == 130);
  CHECK_FALSE(fs::exists(folder / "r.json"));
  CHECK(folder.entries() == 1);
}

TEST_CASE("unit: what a session's files tell and forbid holds for a clip that is read alone") {
  const Folder folder;
  const fs::path setup = folder / "spring" / "1-full";
  fs::create_directories(setup);
  const fs::path clip = setup / "shot.mp4";
  fs::copy_file(fs::path(NOCKTRAIL_TEST_CLIPS) / "portrait-right.mp4", clip);
  const fs::path facts = folder / "spring" / "session.toml";
  const std::string json = (folder / "r.json").string();
  const auto read = [&](const std::string& told) {
    const Ran ran = run_program(fmt::format("read {} --json '{}' '{}'", told, json, clip.string()));
    const auto shot = nlohmann::json::parse(content(json))["shots"][0];
    return std::pair(ran, shot);
  };

  write(facts, "hand = \"right\"\ncant = \"15deg\"\n");
  const auto [told, told_shot] = read("");
  REQUIRE(told.status == 0);
  CHECK(says(told.out,
             "Read with: right hand (the folder's files), cant 15 deg (the folder's files)"));
  CHECK(told_shot["bow"]["hand"] == "right");
  CHECK(told_shot["bow"]["cant_deg"]["value"] == 15.0);
  // The command line outranks them.
  CHECK(read("--cant 8").second["bow"]["cant_deg"]["value"] == 8.0);

  // 180 gr on 45 lb: 4 grains a pound, below the trade's absolute floor of 5.
  write(facts,
        "hand = \"right\"\ncant = \"15deg\"\n[bow]\ndraw_weight = \"45lb\"\n[arrow]\n"
        "total_mass = \"180gr\"\n");
  const auto [stopped, stopped_shot] = read("");
  CHECK(stopped.status == 0);
  CHECK(says(stopped.out, "Next step: Do not shoot this arrow"));
  CHECK_FALSE(says(stopped.out, "Film"));
  CHECK(stopped_shot["verdict"]["step"] == "do-not-shoot-arrow");

  // A slip in them costs no reading, and is said.
  write(facts, "hnad = \"right\"\n");
  const auto [slipped, slipped_shot] = read("--hand left");
  CHECK(slipped.status == 0);
  CHECK(says(slipped.err, "hnad"));
  CHECK(slipped_shot["bow"]["hand"] == "left");
}

TEST_CASE("fault: messages that cannot be written stop no session") {
  const Folder folder;
  write(folder / "a.mp4", "no video");
  write(folder / "b.mp4", "no video either");
  const int raw = std::system(fmt::format("'{}' session --no-logbook '{}' >/dev/null 2>/dev/full",
                                          NOCKTRAIL_PROGRAM, (folder / "").string())
                                  .c_str());
  REQUIRE(WIFEXITED(raw));
  CHECK(WEXITSTATUS(raw) == 4);
  CHECK(fs::exists(folder / "nocktrail-results/report.html"));
}

TEST_CASE("unit: several clips end with a summary on standard output, and JSON is as before") {
  const Folder folder;
  write(folder / "one.mp4", "not a video");
  write(folder / "two.mp4", "not a video either");
  const std::string clips =
      fmt::format("'{}' '{}'", (folder / "one.mp4").string(), (folder / "two.mp4").string());
  const Ran ran = run_program(fmt::format("read {}", clips));
  CHECK(ran.status == 4);
  CHECK(ran.out.starts_with("Summary: 0 shots measured, in 0 of 2 clips\n"));
  CHECK(says(ran.out, "one.mp4  cannot be read"));
  CHECK(run_program(fmt::format("read '{}'", (folder / "one.mp4").string())).out.empty());
  CHECK(run_program(fmt::format("read --quiet {}", clips)).out.empty());
  const Ran json = run_program(fmt::format("read --json - {}", clips));
  CHECK(nlohmann::json::parse(json.out).size() == 2);
  // On a terminal of 40 columns, by util-linux's script.
  if (std::system("command -v script >/dev/null") != 0) {
    MESSAGE("skipped: script is not installed");
    return;
  }
  const std::string typed = (folder / "typed").string();
  const int status = std::system(
      fmt::format("script -qc \"stty cols 40; '{}' read --quiet '{}' 2>/dev/null; '{}' read {} "
                  "2>/dev/null\" '{}' >/dev/null </dev/null",
                  NOCKTRAIL_PROGRAM, (folder / "one.mp4").string(), NOCKTRAIL_PROGRAM, clips, typed)
          .c_str());
  CHECK(status == 0);
  CHECK(says(content(typed), "Clip: one.mp4; Sideways, deg: cannot be\r\n  read\r\n"));
}
