// `nocktrail still` as scripts meet it.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <string>

#include "cli/program.hpp"

using namespace nocktrail::cli::test;

namespace {

void write(const fs::path& path, const std::string& bytes) {
  fs::create_directories(path.parent_path());
  std::ofstream(path, std::ios::binary) << bytes;
}

Ran still(const std::string& arguments) {
  return run_program("still " + arguments);
}

// Width and height of a PNG: big-endian in its first chunk (ISO/IEC 15948, 11.2.2); zero for none.
struct Size {
  unsigned width = 0;
  unsigned height = 0;
};
Size png_size(const fs::path& path) {
  const std::string bytes = content(path);
  if (bytes.size() < 24 || bytes.substr(1, 3) != "PNG") {
    return {};
  }
  const auto number = [&](std::size_t at) {
    unsigned value = 0;
    for (std::size_t i = at; i < at + 4; ++i) {
      value = value << 8U | static_cast<unsigned char>(bytes[i]);
    }
    return value;
  };
  return {number(16), number(20)};
}

std::string test_clip(const char* name) {
  return (fs::path(NOCKTRAIL_TEST_CLIPS) / name).string();
}

}  // namespace

TEST_CASE(
    "unit: a still carries what the session says of the clip, and what the command line adds") {
  const Folder folder;
  const fs::path clip = folder / "session" / "2-lower" / "shot.mp4";
  write(clip, content(test_clip("portrait-right.mp4")));
  const Ran bare = still(fmt::format("--hand right --out '{}' '{}'", (folder / "bare.png").string(),
                                     test_clip("portrait-right.mp4")));
  REQUIRE(bare.status == 0);
  CHECK(bare.out == (folder / "bare.png").string() + "\n");
  const Size plain = png_size(folder / "bare.png");
  CHECK(plain.width == 1440);

  // With the hand alone told, and then with a foot: the facts of session.toml and of the set-up's
  // own file.
  write(folder / "session" / "session.toml", "hand = \"right\"\n");
  REQUIRE(
      still(fmt::format("--out '{}' '{}'", (folder / "hand.png").string(), clip.string())).status ==
      0);
  write(folder / "session" / "session.toml",
        "hand = \"right\"\n[bow]\nname = \"Rook Hollow 45\"\n[arrow]\nname = \"alder grey\"\n");
  write(folder / "session" / "2-lower" / "setup.toml", "[bow]\nnocking_point = \"1/2in\"\n");
  const Ran told =
      still(fmt::format("--out '{}' '{}'", (folder / "told.png").string(), clip.string()));
  REQUIRE(told.status == 0);
  CHECK(png_size(folder / "told.png").height > png_size(folder / "hand.png").height + 30);

  const Ran more = still(fmt::format("--particulars 'light wind' --out '{}' '{}'",
                                     (folder / "more.png").string(), clip.string()));
  REQUIRE(more.status == 0);
  CHECK(png_size(folder / "more.png").height > png_size(folder / "told.png").height);

  write(folder / "session" / "session.toml", "hand = \"right\"\n[bow]\nnmae = \"x\"\n");
  const Ran slip =
      still(fmt::format("--out '{}' '{}'", (folder / "slip.png").string(), clip.string()));
  CHECK(slip.status == 2);
  CHECK(slip.err.find("nmae") != std::string::npos);
  CHECK_FALSE(fs::exists(folder / "slip.png"));
}

TEST_CASE("fault: no shot gives a picture with the reason; no video gives none") {
  const Folder folder;
  const std::string out = (folder / "still.png").string();
  CHECK(still(fmt::format("--out '{}' '{}'", out, test_clip("let-down.mp4"))).status == 3);
  CHECK(png_size(out).width == 1440);
  fs::remove(out);
  write(folder / "notes.mp4", "not a video at all");
  const Ran unreadable =
      still(fmt::format("--out '{}' '{}'", out, (folder / "notes.mp4").string()));
  CHECK(unreadable.status == 4);
  CHECK(unreadable.err.find("notes.mp4") != std::string::npos);
  CHECK_FALSE(fs::exists(out));
}

TEST_CASE("fault: what the command line gets wrong is said before the clip is read") {
  const std::string clip = test_clip("portrait-right.mp4");
  for (const char* arguments : {"--out still.jpg", "--out /nowhere/at/all/still.png", "--hand both",
                                "--cant 200", "--setup /nowhere/setup.toml"}) {
    INFO(std::string(arguments));
    const Ran ran = still(fmt::format("{} '{}'", arguments, clip));
    CHECK(ran.status == 2);
    CHECK(std::count(ran.err.begin(), ran.err.end(), '\n') == 1);
  }
  CHECK(still("").status == 2);
}

TEST_CASE("unit: in a session the reading that is there is drawn") {
  const Folder folder;
  fs::create_directories(folder / "s/1-start");
  const fs::path clip = folder / "s/1-start/shot.mp4";
  fs::copy_file(test_clip("portrait-right.mp4"), clip);
  write(folder / "s/session.toml", "hand = \"right\"\ncant = 15\n");
  const std::string out = (folder / "still.png").string();
  REQUIRE(run_program(
              fmt::format("read --quiet --into '{}' '{}'", (folder / "s").string(), clip.string()))
              .status == 0);
  const std::string session_still = (folder / "again.png").string();
  REQUIRE(still(fmt::format("--quiet --out '{}' '{}'", session_still, clip.string())).status == 0);
  // Told from one that was read now: its own words.
  fs::path kept;
  for (const auto& entry : fs::directory_iterator(folder / "s/nocktrail-results/readings")) {
    kept = entry.path();
  }
  std::string text = content(kept);
  REQUIRE(text.find("\"measured\"") != std::string::npos);
  while (text.find("\"measured\"") != std::string::npos) {
    text.replace(text.find("\"measured\""), 10, "\"refused\"");
  }
  write(kept, text);
  CHECK(still(fmt::format("--out '{}' '{}'", out, clip.string())).status == 3);
  // Other facts than those it was made with: the clip is read.
  CHECK(still(fmt::format("--arrow-length 30in --out '{}' '{}'", out, clip.string())).status == 0);
  write(folder / "s/session.toml", "hand = \"right\"\ncant = 15\n[camera]\nfocal_35mm = 27\n");
  CHECK(still(fmt::format("--out '{}' '{}'", out, clip.string())).status == 0);
}
