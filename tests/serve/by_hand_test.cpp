// Marking by hand over requests: frames, marks that are tried and kept, and every nonsense that may
// be sent in their place.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "served.hpp"

using namespace nocktrail::serve::test;
using nlohmann::json;

namespace {

const std::string kPlace = "setup=.&clip=a.mp4";

// A clip that is there and read.
struct WithClip {
  WithClip() {
    REQUIRE(served.ready());
    fs::copy_file(test_clip("stored-mirrored.mp4"), served.folder() / "a.mp4");
    REQUIRE(eventually([&] { return about().contains("sha256"); }));
    std::ifstream(test_clip("stored-mirrored.truth.json")) >> truth;
  }

  json about() const {
    return json::parse(served.get("/api/by-hand?" + kPlace).body, nullptr, false);
  }
  // The true ends of the rendered arrow (test-clips/*.truth.json) in so many frames of its flight.
  json marks(std::size_t frames) const {
    json list = json::array();
    const json& shot = truth["shots"][0];
    std::vector<json> all;
    for (const json& frame : shot["frames"]) {
      if (frame["t_s"] >= shot["exit_s"] && frame["nock_px"].is_array() &&
          frame["tip_px"].is_array() &&
          std::hypot(frame["nock_px"][0].get<double>() - frame["tip_px"][0].get<double>(),
                     frame["nock_px"][1].get<double>() - frame["tip_px"][1].get<double>()) > 12.0 &&
          frame["nock_px"][1] < truth["display_height"].get<double>() - 5.0) {
        all.push_back(frame);
      }
    }
    for (std::size_t i = 0; i < frames; ++i) {
      const json& frame = all[i * (all.size() - 1) / std::max<std::size_t>(frames - 1, 1)];
      list.push_back(
          {{"index", frame["index"]}, {"nock_px", frame["nock_px"]}, {"tip_px", frame["tip_px"]}});
    }
    return {{"schema", "nocktrail.marks/1"},
            {"clip_sha256", about()["sha256"]},
            {"frames", list},
            {"exit_index", nullptr},
            {"counts", false}};
  }
  json body(const json& marks, const std::string& was = "") const {
    return {{"setup", "."}, {"clip", "a.mp4"}, {"marks", marks}, {"was", was}};
  }
  Got keep(const json& marks, const std::string& was) const {
    return served.post("/api/marks", body(marks, was).dump());
  }
  fs::path file() const {
    return served.folder() / "nocktrail-marks" / (about()["sha256"].get<std::string>() + ".json");
  }

  Served served{{"--no-stills"}};
  json truth;
};

void refused(const Got& got, int status, const std::string& words = "") {
  CAPTURE(got.body);
  CHECK(got.status == status);
  const json answer = json::parse(got.body, nullptr, false);
  REQUIRE(answer.contains("error"));
  const std::string line = answer["error"];
  CHECK(line.find('\n') == std::string::npos);
  CHECK(says(line, words));
}

}  // namespace

TEST_CASE("unit: frames come as JPEG, cut out and enlarged, and nothing else is asked for") {
  const WithClip clip;
  const json about = clip.about();
  CHECK(about["frames"] == clip.truth["frames"]);
  CHECK(about["width"] == clip.truth["display_width"]);
  CHECK(about["marks"].is_null());
  CHECK(about["version"] == "");
  // The flight lies in the stretch that is shown first, and in its window.
  const double exit_s = clip.truth["shots"][0]["exit_s"];
  const double fps = clip.truth["capture_fps"];
  CHECK(about["stretch"]["from"] <= exit_s * fps);
  CHECK(about["stretch"]["to"] > exit_s * fps + 10);
  CHECK(about["stretch"]["window"].size() == 4);
  const std::string frame = "/api/frame?" + kPlace;
  const Got picture = clip.served.get(frame + "&index=60&x=101&y=203&w=200&h=100&width=600");
  REQUIRE(picture.status == 200);
  CHECK(says(picture.head, "Content-Type: image/jpeg"));
  CHECK(picture.body.starts_with("\xFF\xD8\xFF"));
  // Backward, forward, whole and small.
  for (const char* one :
       {"&index=59&x=0&y=0&w=720&h=1280&width=720", "&index=10&x=0&y=0&w=720&h=1280&width=100",
        "&index=61&x=704&y=1264&w=16&h=16&width=1600"}) {
    CHECK(clip.served.get(frame + one).status == 200);
  }
  for (const char* wrong :
       {"", "&index=60", "&index=-1&x=0&y=0&w=100&h=100&width=100",
        "&index=6e1&x=0&y=0&w=100&h=100&width=100", "&index=+6&x=0&y=0&w=100&h=100&width=100",
        "&index=99999999999999999999&x=0&y=0&w=100&h=100&width=100",
        "&index=60&x=700&y=0&w=100&h=100&width=100", "&index=60&x=0&y=0&w=5&h=100&width=100",
        "&index=60&x=0&y=0&w=100&h=100&width=0", "&index=60&x=0&y=0&w=100&h=100&width=100000",
        "&index=60&x=0&y=0&w=16&h=1280&width=1600", "&index=60&x=0x1&y=0&w=99&h=99&width=99",
        "&index=60&x=0.5&y=0&w=100&h=100&width=100"}) {
    INFO(wrong);
    refused(clip.served.get(frame + wrong), 400);
  }
  refused(clip.served.get(frame + "&index=5000&x=0&y=0&w=100&h=100&width=100"), 404);
  refused(clip.served.get("/api/frame?setup=.&clip=b.mp4&index=1&x=0&y=0&w=99&h=99&width=99"), 404);
  refused(clip.served.get("/api/by-hand?setup=..&clip=a.mp4"), 404);
  // Nothing of it without the secret.
  CHECK(clip.served.get(frame + "&index=1", {{"Host", clip.served.host()}}).status == 403);
}

TEST_CASE("fault: what cannot be read as video has nothing to be marked in") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  served.folder().write("a.mp4", "no video at all");
  REQUIRE(eventually([&] { return served.get("/api/by-hand?" + kPlace).status == 400; }));
  refused(served.get("/api/by-hand?" + kPlace), 400, "cannot be read as video");
}

TEST_CASE("truth: marks are tried and make a flight, then a reading on the right side") {
  const WithClip clip;
  const auto attempt = [&](std::size_t frames) {
    const Got got = clip.served.post("/api/try-marks", clip.body(clip.marks(frames)).dump());
    CAPTURE(got.body);
    REQUIRE(got.status == 200);
    return json::parse(got.body);
  };
  const json one = attempt(1);
  CHECK(one["flight"].empty());
  CHECK(says(one["missing"].get<std::string>(), "5 more"));
  const json four = attempt(4);
  CHECK_FALSE(four["flight"].empty());
  CHECK(says(four["missing"].get<std::string>(), "2 more"));
  CHECK(four["reading"]["status"] == "refused");
  const json eight = attempt(8);
  CHECK(eight["missing"].is_null());
  CHECK(eight["reading"]["by_hand"] == true);
  REQUIRE(clip.truth["shots"][0]["nock_right_deg"] < -0.5);
  CHECK(says(eight["reading"]["shots"][0]["lateral"].get<std::string>(), "Nock left"));
  CHECK(says(eight["reading"]["shots"][0]["lateral"].get<std::string>(), "±"));
  CHECK_FALSE(fs::exists(clip.served.folder() / "nocktrail-marks"));  // nothing was kept
}

TEST_CASE("fault: marks that are nonsense are one line, and nothing is kept") {
  const WithClip clip;
  const json good = clip.marks(8);
  const auto with = [&](auto change) {
    json marks = good;
    change(marks);
    return marks;
  };
  const std::vector<std::pair<json, std::string>> nonsense = {
      {with([](json& m) {
         m["frames"][2]["nock_px"] = {720.6, 10.0};
       }),
       "outside the picture"},
      {with([](json& m) {
         m["frames"][2]["tip_px"] = {10.0, -3.0};
       }),
       "outside the picture"},
      {with([](json& m) {
         m["frames"][2]["tip_px"] = {1e9, 3.0};
       }),
       "no place in a picture"},
      {with([](json& m) {
         m["frames"][2]["tip_px"] = {nullptr, 3.0};
       }),
       "tip_px"},
      {with([](json& m) { m["frames"][2]["index"] = 5000; }), "there is no frame 5000"},
      {with([](json& m) { m["frames"][2]["index"] = -1; }), "no frame's number"},
      {with([](json& m) { m["frames"][2] = m["frames"][3]; }), "twice"},
      {with([](json& m) { m["exit_index"] = 5000; }), "there is no frame 5000"},
      {with([](json& m) { m["clip_sha256"] = std::string(64, 'a'); }), "another clip"},
      {with([](json& m) { m["clip_sha256"] = nullptr; }), "clip_sha256"},
      {with([](json& m) { m["schema"] = "nocktrail.marks/9"; }), "schema"},
      {with([](json& m) { m["counts"] = "yes"; }), "counts"},
      {with([](json& m) { m["<b>\n"] = 1; }), "not one of the keys"},
      {with([](json& m) {
         m["frames"] = json::array();
         for (int i = 0; i < 65; ++i) {
           m["frames"].push_back({{"index", i}, {"nock_px", {1, 1}}, {"tip_px", nullptr}});
         }
       }),
       "at most 64"},
      {json("text"), "not understood"}};
  for (const auto& [marks, words] : nonsense) {
    refused(clip.keep(marks, ""), 400, words);
    refused(clip.served.post("/api/try-marks", clip.body(marks).dump()), 400, words);
  }
  refused(clip.keep(clip.marks(1), ""), 400, "5 more");
  refused(clip.keep(clip.marks(5), ""), 400, "1 more");
  json many = good;
  for (int i = 0; i < 10000; ++i) {
    many["frames"].push_back({{"index", i}, {"nock_px", {1, 1}}, {"tip_px", {2, 2}}});
  }
  const std::string text = clip.body(good).dump();
  std::string nan = text;
  nan.replace(nan.find("\"tip_px\":["), 10, "\"tip_px\":[NaN,1],\"x\":[");
  std::string infinite = text;
  infinite.replace(infinite.find("\"tip_px\":["), 10, "\"tip_px\":[1e999,1],\"x\":[");
  const std::string deep =
      "{\"setup\":\".\",\"clip\":\"a.mp4\",\"marks\":" + std::string(30000, '[');
  for (const char* where : {"/api/marks", "/api/try-marks"}) {
    refused(clip.served.post(where, clip.body(many).dump()), 413);
    for (const std::string& body : {nan, infinite, deep, deep + std::string(30000, ']') + "}",
                                    std::string("no json"), std::string("[]"), std::string()}) {
      refused(clip.served.post(where, body), 400, "not understood");
    }
    json elsewhere = clip.body(good);
    elsewhere["clip"] = "b.mp4";
    refused(clip.served.post(where, elsewhere.dump()), 404);
    // Without the secret, or with what a page of another host could send.
    CHECK(clip.served.post(where, text, {{"Host", clip.served.host()}}).status == 403);
    CHECK(clip.served
              .post(where, text,
                    {{"Host", clip.served.host()},
                     {"Cookie",
                      "nocktrail-" + std::to_string(clip.served.port()) + "=" + clip.served.key()}})
              .status == 403);
  }
  CHECK_FALSE(fs::exists(clip.served.folder() / "nocktrail-marks"));
}

TEST_CASE("fault: two browsers that mark the same clip do not write over each other") {
  const WithClip clip;
  const Got first = clip.keep(clip.marks(8), "");
  REQUIRE(first.status == 200);
  const std::string version = json::parse(first.body)["version"];
  CHECK(clip.about()["version"] == version);
  const std::string kept = content(clip.file());
  refused(clip.keep(clip.marks(7), ""), 409, "somebody else");
  refused(clip.keep(nullptr, "another"), 409, "somebody else");
  CHECK(content(clip.file()) == kept);
  const Got second = clip.keep(clip.marks(7), version);
  REQUIRE(second.status == 200);
  CHECK(content(clip.file()) != kept);
  CHECK(content(clip.file().string() + ".before") == kept);
  CHECK(clip.keep(nullptr, json::parse(second.body)["version"]).status == 200);
  CHECK_FALSE(fs::exists(clip.file()));
  REQUIRE(eventually([&] { return clip.about()["by_hand"] == false; }));
}

TEST_CASE("fault: a file of marks that is a link or damaged is said, and gives way to new marks") {
  const WithClip clip;
  const Folder elsewhere;
  elsewhere.write("precious.json", "precious");
  fs::create_directories(clip.file().parent_path());
  for (const bool link : {true, false}) {
    fs::remove(clip.file());
    if (link) {
      fs::create_symlink(elsewhere / "precious.json", clip.file());
    } else {
      std::ofstream(clip.file()) << "{\"schema\": \"nocktrail.marks/1\", ";
    }
    const json about = clip.about();
    CHECK(about["marks"].is_null());
    CHECK(says(about["fault"].get<std::string>(), ".json: is no"));
    REQUIRE(eventually([&] { return says(clip.served.get("/api/session").body, ".json: is no"); }));
    CHECK(clip.about()["by_hand"] == false);
    refused(clip.keep(clip.marks(8), ""), 409);
    CHECK(clip.keep(clip.marks(8), about["version"]).status == 200);
    REQUIRE(eventually([&] { return clip.about()["by_hand"] == true; }));
  }
  CHECK(content(elsewhere / "precious.json") == "precious");
}

TEST_CASE("truth: a reading by marks in serve is byte for byte the one of session") {
  const auto readings = [](const fs::path& folder) {
    std::vector<std::string> all;
    for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
      json one = json::parse(content(entry.path()));
      if (one["read_with"]["marks"] != "") {
        // What differs between any two runs: the clock, and the folder's name.
        one.erase("read_at_utc");
        one.erase("filmed_at_utc");
        one["reading"]["clip"].erase("path");
        all.push_back(entry.path().filename().string() + one.dump());
      }
    }
    return all;
  };
  std::vector<std::string> served;
  std::string marks;
  std::string name;
  {
    const WithClip clip;
    REQUIRE(clip.keep(clip.marks(8), "").status == 200);
    REQUIRE(eventually([&] { return clip.about()["waits"] == true; }));
    const json line = json::parse(clip.served.get("/api/line").body);
    CHECK(line["setups"][0]["clips"].size() == 1);
    served = readings(clip.served.folder().path());
    marks = content(clip.file());
    name = clip.file().filename().string();
  }
  REQUIRE(served.size() == 1);
  const Folder scratch;
  const Folder folder;
  fs::copy_file(test_clip("stored-mirrored.mp4"), folder / "a.mp4");
  folder.write("nocktrail-marks/" + name, marks);
  Program session(scratch, "session",
                  {"session", folder.path().string(), "--no-logbook", "--no-stills"});
  REQUIRE(session.wait() == 0);
  CHECK(says(session.err(), "a.mp4: left out (marked by hand, and not said to count)"));
  CHECK(readings(folder.path()) == served);
}
