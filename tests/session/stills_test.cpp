// The stills of a session: named after clip and shot, and nothing of somebody else's touched.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <atomic>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <set>
#include <string>

#include "nocktrail/media/image_file.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

using Names = std::set<std::string>;

Names stills_in(const Folder& folder) {
  Names names;
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/stills")) {
    names.insert(entry.path().filename().string());
  }
  return names;
}

std::string still(const Folder& folder, const std::string& name) {
  return content(folder / ("nocktrail-results/stills/" + name));
}

// A drawing that says which clip and shot it is of; clips of "two ..." have two shots.
class Drawing {
 public:
  ReadSessionOptions options(FakeReader& reader) {
    ReadSessionOptions options = fakes(reader);
    options.read = [&reader](const fs::path& path, const ReadClipOptions& how,
                             const Progress& progress) {
      Reading reading = reader.function()(path, how, progress);
      if (content(path).ends_with("two")) {
        reading.shots.push_back(reading.shots.front());
      }
      return reading;
    };
    options.draw = [this](const Reading&, const StillRequest& request) {
      ++drawn;
      return fmt::format("{} shot {}{}", content(request.clip), request.shot + 1,
                         request.hand == Hand::left ? ", left" : "");
    };
    return options;
  }
  std::atomic<int> drawn{0};
};

}  // namespace

TEST_CASE("unit: stills are named after set-up, clip and shot") {
  const Folder folder;
  folder.write("1-start/IMG_01.mp4", "-1.0 two");
  folder.write("2-lower/IMG_01.mp4", "-2.0");
  FakeReader reader;
  Drawing drawing;
  const SessionRead read = read_session(folder.path(), drawing.options(reader));
  CHECK(stills_in(folder) ==
        Names{"1-start-IMG_01.png", "1-start-IMG_01-shot2.png", "2-lower-IMG_01.png"});
  CHECK(still(folder, "1-start-IMG_01-shot2.png") == "-1.0 two shot 2");
  CHECK(still(folder, "2-lower-IMG_01.png") == "-2.0 shot 1");
  const tune::ClipRecord& first = read.record.setups[0].clips[0];
  CHECK(first.still == "nocktrail-results/stills/1-start-IMG_01.png");
  CHECK(first.stills ==
        std::vector<std::string>{"nocktrail-results/stills/1-start-IMG_01.png",
                                 "nocktrail-results/stills/1-start-IMG_01-shot2.png"});
  CHECK(read_session(folder.path(), drawing.options(reader)).record.setups[0].clips[0].still ==
        first.still);
  CHECK(drawing.drawn == 3);
}

TEST_CASE("unit: a session of one set-up needs no set-up in the name") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  Drawing drawing;
  read_session(folder.path(), drawing.options(reader));
  CHECK(stills_in(folder) == Names{"a.png"});
}

TEST_CASE("unit: clips of the same name both keep a still, the same one each time") {
  const Folder folder;
  folder.write("a.mp4", "-1.0 two");
  FakeReader reader;
  Drawing drawing;
  read_session(folder.path(), drawing.options(reader));
  folder.write("A.mov", "-2.0");        // sorts first; alike where case does not count
  folder.write("a-shot2.mp4", "-3.0");  // alike a second shot
  for (int run = 0; run < 2; ++run) {
    read_session(folder.path(), drawing.options(reader));
    CHECK(stills_in(folder) == Names{"a.png", "a-shot2.png", "A-2.png", "a-shot2-clip.png"});
    CHECK(still(folder, "a.png") == "-1.0 two shot 1");
    CHECK(still(folder, "a-shot2.png") == "-1.0 two shot 2");
    CHECK(still(folder, "A-2.png") == "-2.0 shot 1");
    CHECK(still(folder, "a-shot2-clip.png") == "-3.0 shot 1");
  }
  CHECK(drawing.drawn == 4);
}

TEST_CASE("fault: whatever a clip is called, its still has a name that is safe") {
  const Folder folder;
  const std::string lengthy(240, 'x');
  folder.write("1 a/-rf $(x) <b> \u202Egp4.mp4", "-1.0");
  folder.write("1 a/" + lengthy + ".mp4", "-2.0");
  folder.write("1 a/\xFF.mp4", "-3.0");
  FakeReader reader;
  Drawing drawing;
  const SessionRead read = read_session(folder.path(), drawing.options(reader));
  const Names names = stills_in(folder);
  CHECK(names.size() == 3);
  for (const std::string& name : names) {
    CAPTURE(name);
    CHECK(name.size() < 180);
    CHECK(name.find_first_of("<>$\"'`\\;&|") == std::string::npos);
    CHECK(name.find("\u202E") == std::string::npos);
    CHECK(name.front() == '1');
  }
  for (const tune::ClipRecord& clip : read.record.setups[0].clips) {
    CHECK(fs::exists(folder.path() / clip.still));
  }
}

TEST_CASE("unit: a still follows its clip to another name without being drawn again") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  folder.write("b.mp4", "-2.0");
  FakeReader reader;
  Drawing drawing;
  read_session(folder.path(), drawing.options(reader));
  fs::rename(folder / "a.mp4", folder / "c.mp4");  // a and b change names
  fs::rename(folder / "b.mp4", folder / "a.mp4");
  fs::rename(folder / "c.mp4", folder / "b.mp4");
  read_session(folder.path(), drawing.options(reader));
  CHECK(drawing.drawn == 2);
  CHECK(stills_in(folder) == Names{"a.png", "b.png"});
  CHECK(still(folder, "a.png") == "-2.0 shot 1");
  CHECK(still(folder, "b.png") == "-1.0 shot 1");
  fs::rename(folder / "a.mp4", folder / "z.mp4");
  read_session(folder.path(), drawing.options(reader));
  CHECK(stills_in(folder) == Names{"b.png", "z.png"});
  CHECK(drawing.drawn == 2);
  // Gone, a clip leaves its still: it may be all that is left of the shot.
  fs::remove(folder / "z.mp4");
  read_session(folder.path(), drawing.options(reader));
  CHECK(stills_in(folder) == Names{"b.png", "z.png"});
}

TEST_CASE("fault: what was published keeps its picture under its name until there is another") {
  const Folder folder;
  folder.write("session.toml", "hand = \"right\"\n");
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  Drawing drawing;
  read_session(folder.path(), drawing.options(reader));
  folder.write("session.toml", "hand = \"left\"\n");
  read_session(folder.path(), drawing.options(reader), {},
               [&](const SessionRead& read, const report::OwnFolder&) {
                 // Whoever publishes finds the new one.
                 CHECK(content(read.drawn.at("a.png")) == "-1.0 shot 1, left");
                 return false;
               });
  CHECK(still(folder, "a.png") == "-1.0 shot 1");
  read_session(folder.path(), drawing.options(reader));
  CHECK(still(folder, "a.png") == "-1.0 shot 1, left");
  CHECK(stills_in(folder).size() == 1);
  CHECK(drawing.drawn == 2);
}

TEST_CASE("unit: stills of before, named by checksums, get their names or go") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  Drawing drawing;
  const SessionRead read = read_session(folder.path(), drawing.options(reader));
  const std::string sha = read.record.setups[0].clips[0].sha256.substr(0, 16);
  const std::string id = nlohmann::json::parse(
      content(folder / "nocktrail-results/stills.json"))["stills"]["a.png"]["id"];
  CHECK(id.starts_with(sha));
  const fs::path stills = folder / "nocktrail-results/stills";
  fs::rename(stills / "a.png", stills / (id + ".png"));
  fs::remove(folder / "nocktrail-results/stills.json");
  folder.write("nocktrail-results/stills/" + sha + "-00000000.png", "drawn by older facts");
  folder.write("nocktrail-results/stills/" + sha + "-00000000-shot2.png", "likewise");
  const std::string other = "0123456789abcdef-00000000.png";  // of a clip that is elsewhere now
  folder.write("nocktrail-results/stills/" + other, "kept");
  read_session(folder.path(), drawing.options(reader));
  CHECK(stills_in(folder) == Names{"a.png", other});
  CHECK(drawing.drawn == 1);
}

TEST_CASE("fault: files of somebody else among the stills are never touched") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  folder.write("nocktrail-results/stills/a.png", "a holiday picture");
  folder.write("nocktrail-results/stills/letter.txt", "dear");
  // That claims others' files, here and elsewhere.
  folder.write("mine.png", "mine");
  folder.write("nocktrail-results/stills.json",
               R"({"schema": "nocktrail.session-stills/1", "stills": {
                   "a.png": {"id": "x", "clip": "a.mp4", "stamp": "17 1.2"},
                   "../../mine.png": {"id": "x", "clip": "a.mp4", "stamp": "4 1.2"}}})");
  FakeReader reader;
  Drawing drawing;
  const SessionRead read = read_session(folder.path(), drawing.options(reader));
  CHECK(still(folder, "a.png") == "a holiday picture");
  CHECK(still(folder, "letter.txt") == "dear");
  CHECK(content(folder / "mine.png") == "mine");
  CHECK(still(folder, "a-2.png") == "-1.0 shot 1");
  CHECK(read.record.setups[0].clips[0].still.ends_with("a-2.png"));
  folder.write("nocktrail-results/stills.json", "[]");
  CHECK(any_says(read_session(folder.path(), drawing.options(reader)).messages,
                 "stills.json: is not what nocktrail keeps there"));
}

TEST_CASE("fault: killed before the list of stills was written, a picture of ours is known") {
  const Folder folder;
  folder.write("a.mp4", "-1.0");
  FakeReader reader;
  ReadSessionOptions options = fakes(reader);
  int drawn = 0;
  options.draw = [&](const Reading&, const StillRequest&) {
    ++drawn;
    return media::png_bytes(cv::Mat(4, 4, CV_8UC3, cv::Scalar(1, 2, drawn)));
  };
  read_session(folder.path(), options);
  fs::remove(folder / "nocktrail-results/stills.json");
  read_session(folder.path(), options);
  CHECK(stills_in(folder) == Names{"a.png"});
  CHECK(drawn == 2);  // what it shows is not known
}

TEST_CASE("unit: two sessions with their results in one folder keep each their stills") {
  const Folder folder;
  folder.write("one/a.mp4", "-1.0");
  folder.write("two/a.mp4", "-2.0");
  FakeReader reader;
  Drawing drawing;
  ReadSessionOptions options = drawing.options(reader);
  options.results = folder / "nocktrail-results";
  for (int run = 0; run < 2; ++run) {
    read_session(folder / "one", options);
    read_session(folder / "two", options);
    CHECK(still(folder, "a.png") == "-1.0 shot 1");
    CHECK(still(folder, "a-2.png") == "-2.0 shot 1");
  }
  CHECK(drawing.drawn == 2);
}
