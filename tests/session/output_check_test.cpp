// What may be written where: a slip of the command line must cost a line, not a file.
#include "nocktrail/session/output_check.hpp"

#include <doctest/doctest.h>
#include <sys/stat.h>

#include <functional>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/reading.hpp"
#include "nocktrail/report/json.hpp"
#include "support.hpp"

using namespace nocktrail;
using namespace nocktrail::session;
using namespace nocktrail::session::test;

namespace {

std::string refusal(const std::function<void()>& call) {
  try {
    call();
  } catch (const BadInput& problem) {
    const std::string line = problem.what();
    CHECK_FALSE(says(line, "\n"));
    return line;
  }
  return {};
}

const Product& reading() {
  static const Product product = json_of("nocktrail.reading/");
  return product;
}

std::string refused(const OutputCheck& check, const fs::path& path, const Product& product) {
  return refusal([&] { check.check("--json", path, product); });
}

// A picture without its mark, as they were before there was one: the second part left out. The mark
// stands behind signature (8 bytes) and header (25).
std::string unmarked(std::string png) {
  const auto length = static_cast<unsigned char>(png[36]);
  return png.erase(33, std::size_t{12} + length);
}

}  // namespace

TEST_CASE("fault: a file that is read or kept is never written over, under whatever name") {
  const Folder folder;
  folder.write("list.json", "[]");
  fs::create_hard_link(folder / "list.json", folder / "twin.json");
  fs::create_symlink("list.json", folder / "link.json");
  OutputCheck check;
  check.keep(folder / "list.json", "one of the clips to be read");
  check.keep_logbook(folder / "own.sqlite");
  for (const char* name : {"list.json", "twin.json", "link.json", "./list.json"}) {
    CAPTURE(name);
    const std::string line = refused(check, folder / name, reading());
    CHECK(says(line, "--json: "));
    CHECK(says(line, "is one of the clips to be read"));
  }
  // Whether or not it is there yet; its journal too, be it empty.
  CHECK(says(refused(check, folder / "own.sqlite", reading()), "is the logbook"));
  folder.write("own.sqlite-wal", "");
  CHECK(says(refused(check, folder / "own.sqlite-wal", reading()), "is the logbook"));
  CHECK(content(folder / "list.json") == "[]");
}

TEST_CASE("fault: a video is known by its ending and by its content") {
  const Folder folder;
  const OutputCheck check;
  for (const char* name : {"a.mp4", "b.MOV", "c.m2ts"}) {
    CHECK(says(refused(check, folder / name, reading()), "is a clip"));
  }
  std::string packets(600, 'x');
  packets[0] = packets[188] = packets[376] = 'G';
  for (const std::string& bytes :
       {std::string("\0\0\0\x18"
                    "ftypmp42",
                    12),
        std::string("\0\0\0\x08wide\0\0\0\0mdat", 16), std::string("\x1A\x45\xDF\xA3zzzz"),
        std::string("RIFF1234AVI LIST"), packets}) {
    folder.write("clip.json", bytes);
    CHECK(says(refused(check, folder / "clip.json", reading()), "is a clip"));
    CHECK(says(refusal([&] { check.check_logbook("--logbook", folder / "clip.json"); }),
               "is a clip"));
  }
}

TEST_CASE("fault: a hand-written file is known by its name, there or not") {
  const Folder folder;
  const OutputCheck check;
  for (const char* name : {"session.toml", "setup.toml", "phones.toml", "bow.toml"}) {
    CHECK(says(refused(check, folder / name, reading()), "hand-written"));
    folder.write(name, "");
    CHECK(says(refused(check, folder / name, reading()), "hand-written"));
    CHECK(says(refusal([&] { check.check_logbook("--logbook", folder / name); }), "hand-written"));
  }
}

TEST_CASE("unit: an older JSON of the same kind may be replaced, and nothing else") {
  const Folder folder;
  const OutputCheck check;
  const std::vector<Reading> readings(2);
  CHECK(refused(check, folder / "new.json", reading()).empty());
  for (const std::string& ours : {std::string(), report::json_text(readings),
                                  report::json_text(std::span(readings).first(1))}) {
    folder.write("r.json", ours);
    CHECK(refused(check, folder / "r.json", reading()).empty());
  }
  for (const char* other :
       {"my words", "{}", "{\"schema\": 5}", "[1, 2]", "{\"schema\": \"nocktrail.session/1\"}",
        "[{\"schema\": \"nocktrail.reading/1\"}, 3]", "{\"schema\": \"nocktrail.reading/1\""}) {
    CAPTURE(other);
    folder.write("r.json", other);
    CHECK(says(refused(check, folder / "r.json", reading()), "there already and is not JSON of"));
    CHECK(content(folder / "r.json") == other);
  }
  // Without a schema, by the keys.
  using Json = nlohmann::ordered_json;
  const Product list = json_like(Json::parse(R"([{"at": 1, "text": 2}])"), "notes as JSON");
  folder.write("n.json", R"([{"text": null, "at": "2026"}])");
  CHECK(refused(check, folder / "n.json", list).empty());
  folder.write("n.json", R"([{"text": null, "at": "2026", "mine": 1}])");
  CHECK(says(refused(check, folder / "n.json", list), "is not notes as JSON"));
  const Product object = json_like(Json::parse(R"({"before": 1})"), "the answer");
  folder.write("n.json", R"({"before": "x"})");
  CHECK(refused(check, folder / "n.json", object).empty());
  folder.write("n.json", "[]");
  CHECK_FALSE(refused(check, folder / "n.json", object).empty());
}

TEST_CASE("unit: a still is known by its mark, one from before by width and parts") {
  const Folder folder;
  const OutputCheck check;
  const std::string still = media::png_bytes(cv::Mat(90, 1440, CV_8UC3, cv::Scalar(1, 2, 3)));
  const std::string photo = media::png_bytes(cv::Mat(90, 1000, CV_8UC3, cv::Scalar(1, 2, 3)));
  const auto asked = [&](const std::string& bytes, const Product& product) {
    folder.write("p.png", bytes);
    return refused(check, folder / "p.png", product);
  };
  CHECK(asked(still, still_picture()).empty());
  CHECK(asked(photo, still_picture()).empty());
  CHECK(asked(unmarked(still), still_picture()).empty());
  CHECK(asked(unmarked(photo), debug_picture()).empty());
  CHECK(says(asked(unmarked(photo), still_picture()), "is not a still of nocktrail"));
  // Another program's: a part that we never wrote, and half a picture.
  std::string other = unmarked(still);
  other.insert(33, std::string("\0\0\0\1bKGD\0\0\0\0\0", 13));
  CHECK_FALSE(asked(other, still_picture()).empty());
  CHECK_FALSE(asked(still.substr(0, still.size() / 2), still_picture()).empty());
  CHECK_FALSE(asked("a letter", still_picture()).empty());
}

TEST_CASE("unit: plots and pages by what they say of their generator") {
  const Folder folder;
  const OutputCheck check;
  folder.write("p.svg", "<svg xmlns=\"http://www.w3.org/2000/svg\">\n<!-- nocktrail 0.1.0 -->\n");
  CHECK(refused(check, folder / "p.svg", plot()).empty());
  folder.write("p.svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"><title>My house</title></svg>");
  CHECK_FALSE(refused(check, folder / "p.svg", plot()).empty());
  folder.write("report.html", "<html><title>Tax report</title></html>");
  CHECK(says(refusal([&] { check.check_results("--results", folder.path()); }),
             "report.html: is there already and is not a page of nocktrail"));
  // In a folder of ours whatever has our names is ours, damaged too.
  folder.write("lock", "");
  fs::create_directory(folder / "readings");
  fs::create_directory(folder / "stills");
  CHECK(refusal([&] { check.check_results("--results", folder.path()); }).empty());
}

TEST_CASE("unit: pipes and devices may be written, and standard output is as it was") {
  const Folder folder;
  const OutputCheck check;
  REQUIRE(::mkfifo((folder / "pipe").c_str(), 0600) == 0);
  CHECK(refused(check, folder / "pipe", reading()).empty());
  CHECK(refused(check, "/dev/null", reading()).empty());
}

TEST_CASE("fault: a logbook is made, or is one") {
  const Folder folder;
  const OutputCheck check;
  const auto asked = [&](const char* name) {
    return refusal([&] { check.check_logbook("--logbook", folder / name); });
  };
  CHECK(asked("new.sqlite").empty());
  folder.write("mine.txt", "dear diary");
  CHECK(says(asked("mine.txt"), "is no logbook"));
  folder.write("old.sqlite", std::string("SQLite format 3\0more", 20));
  CHECK(asked("old.sqlite").empty());
  folder.write("empty", "");
  CHECK(asked("empty").empty());
}
