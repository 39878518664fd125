// `nocktrail read --marks` as scripts meet it (docs/measurement.md).
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>

namespace fs = std::filesystem;

namespace {

std::string content(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

struct Ran {
  int status = -1;
  std::string out;
  std::string err;
};

class Desk {
 public:
  Desk() {
    std::string pattern = (fs::temp_directory_path() / "nocktrail-XXXXXX").string();
    folder_ = ::mkdtemp(pattern.data());
  }
  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;
  ~Desk() {
    std::error_code ignored;
    fs::remove_all(folder_, ignored);
  }
  fs::path marks(const std::string& text) const {
    std::ofstream(folder_ / "marks.json") << text;
    return folder_ / "marks.json";
  }
  Ran nocktrail(const std::string& arguments) const {
    const std::string command =
        fmt::format("'{}' {} >'{}' 2>'{}' </dev/null", NOCKTRAIL_PROGRAM, arguments,
                    (folder_ / "out").string(), (folder_ / "err").string());
    const int raw = std::system(command.c_str());
    return {WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, content(folder_ / "out"),
            content(folder_ / "err")};
  }
  fs::path path(const char* name) const { return folder_ / name; }

 private:
  fs::path folder_;
};

const fs::path kClip = fs::path(NOCKTRAIL_TEST_CLIPS) / "vertical-bow-1080p.mp4";

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
  const Desk desk;
  const fs::path marks = desk.marks(true_marks(10).dump());
  const fs::path json = desk.path("r.json");
  const fs::path still = desk.path("s.png");
  const Ran ran = desk.nocktrail(fmt::format(
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
  const Desk desk;
  const Ran ran = desk.nocktrail(fmt::format(
      "read --marks '{}' '{}'", desk.marks(true_marks(2).dump()).string(), kClip.string()));
  CHECK(ran.status == 3);
  CHECK(ran.out.find("(marked by hand)") != std::string::npos);
  CHECK(ran.out.find("4 more") != std::string::npos);
  CHECK(ran.out.find("film from behind") == std::string::npos);
}

TEST_CASE("fault: marks that cannot be used stop the command, in one line") {
  const Desk desk;
  const auto fails = [&](const std::string& arguments, const std::string& words) {
    const Ran ran = desk.nocktrail(arguments);
    CAPTURE(ran.err);
    CHECK(ran.status == 2);
    CHECK(ran.err.find(words) != std::string::npos);
    CHECK(ran.out.empty());
  };
  const std::string good = desk.marks(true_marks(8).dump()).string();
  fails(fmt::format("read --marks '{}' '{}' '{}'", good, kClip.string(), kClip.string()),
        "one clip");
  fails(fmt::format("read --marks '{}' '{}'", desk.path("none.json").string(), kClip.string()),
        "no such file");
  fails(fmt::format("read --marks '{}' --json '{}' '{}'", good, good, kClip.string()), "--json");
  nlohmann::json other = true_marks(8);
  other["clip_sha256"] = std::string(64, 'b');
  fails(fmt::format("read --marks '{}' '{}'", desk.marks(other.dump()).string(), kClip.string()),
        "another clip");
  fails(fmt::format("read --marks '{}' '{}'", desk.marks("{").string(), kClip.string()),
        "nocktrail.marks/1");
}
