// `nocktrail read --marks` as scripts meet it (docs/measurement.md).
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

const fs::path kClip = fs::path(NOCKTRAIL_TEST_CLIPS) / "vertical-bow-1080p.mp4";

fs::path written(const Folder& folder, const std::string& marks) {
  std::ofstream(folder / "marks.json") << marks;
  return folder / "marks.json";
}

// The true ends in so many frames from the exit on.
nlohmann::json true_marks(std::size_t frames) {
  fs::path file = kClip;
  const nlohmann::json truth =
      nlohmann::json::parse(content(file.replace_extension(".truth.json")));
  const nlohmann::json& shot = truth["shots"][0];
  nlohmann::json marks{{"schema", "nocktrail.marks/1"},
                       {"clip_sha256", nullptr},
                       {"frames", nlohmann::json::array()},
                       {"exit_index", nullptr}};
  for (const nlohmann::json& row : shot["frames"]) {
    if (row["t_s"] > shot["exit_s"] && row["index"].get<int>() % 2 == 0 &&
        marks["frames"].size() < frames) {
      marks["frames"].push_back(
          {{"index", row["index"]}, {"nock_px", row["nock_px"]}, {"tip_px", row["tip_px"]}});
    }
  }
  return marks;
}

}  // namespace

TEST_CASE("truth: a clip that is refused is read by marks, and says everywhere that it was") {
  const Folder folder;
  const fs::path marks = written(folder, true_marks(10).dump());
  const fs::path json = folder / "r.json";
  const fs::path still = folder / "s.png";
  const Ran ran = run_program(fmt::format(
      "read --hand right --arrow-length 0.76m --marks '{}' --json '{}' --still '{}' '{}'",
      marks.string(), json.string(), still.string(), kClip.string()));
  CAPTURE(ran.out);
  CAPTURE(ran.err);
  CHECK(ran.status == 0);
  CHECK(ran.out.find("measured, marked by hand") != std::string::npos);
  CHECK(fs::file_size(still) > 0);
  const nlohmann::json shot = nlohmann::json::parse(content(json))["shots"][0];
  CHECK(shot["by"] == "hand");
  CHECK(shot["frames"].size() == 10);
}

TEST_CASE("unit: too few marks are refused, and the reason says how many are missing") {
  const Folder folder;
  const Ran ran = run_program(fmt::format(
      "read --marks '{}' '{}'", written(folder, true_marks(2).dump()).string(), kClip.string()));
  CHECK(ran.status == 3);
  CHECK(ran.out.find("(marked by hand)") != std::string::npos);
  CHECK(ran.out.find("4 more") != std::string::npos);
  CHECK(ran.out.find("film from behind") == std::string::npos);
}

TEST_CASE("fault: marks that cannot be used stop the command, in one line") {
  const Folder folder;
  const auto fails = [&](const std::string& arguments, const std::string& words) {
    const Ran ran = run_program(arguments);
    CAPTURE(ran.err);
    CHECK(ran.status == 2);
    CHECK(ran.err.find(words) != std::string::npos);
    CHECK(ran.out.empty());
  };
  const std::string good = written(folder, true_marks(8).dump()).string();
  fails(fmt::format("read --marks '{}' '{}' '{}'", good, kClip.string(), kClip.string()),
        "one clip");
  fails(fmt::format("read --marks '{}' '{}'", (folder / "none.json").string(), kClip.string()),
        "no such file");
  fails(fmt::format("read --marks '{}' --json '{}' '{}'", good, good, kClip.string()), "--json");
  nlohmann::json other = true_marks(8);
  other["clip_sha256"] = std::string(64, 'b');
  fails(
      fmt::format("read --marks '{}' '{}'", written(folder, other.dump()).string(), kClip.string()),
      "another clip");
  fails(fmt::format("read --marks '{}' '{}'", written(folder, "{").string(), kClip.string()),
        "nocktrail.marks/1");
}
