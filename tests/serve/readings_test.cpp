// What waits for a clip to be read.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "served.hpp"

using namespace nocktrail::serve::test;
using nlohmann::json;

TEST_CASE("rules: what a page changes holds at once on every other, before it is judged") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  served.folder().write("session.toml", "[bow]\nbrace_height = \"7in\"\nbrace_min = \"6 3/4in\"\n");
  const auto line = [&] { return json::parse(served.get("/api/line").body); };
  const auto names = [&] {
    std::vector<std::string> all;
    const json now = line();
    for (const json& setup : now["setups"]) {
      all.push_back(setup["name"]);
    }
    return all;
  };
  const Socket page(served.port());
  page.send(served.head("GET", "/api/events", served.known()));
  REQUIRE(says(page.receive(), "200"));
  // Begun, it is to be chosen; clips on their way go into it, not into the one before.
  REQUIRE(served.post("/api/setups", json({{"name", "as bought"}}).dump()).status == 201);
  CHECK(names() == std::vector<std::string>{"1-as-bought"});
  REQUIRE(served.post("/api/setups", json({{"name", "next"}}).dump()).status == 201);
  CHECK(names() == std::vector<std::string>{"1-as-bought", "2-next"});
  std::string heard;
  CHECK(eventually([&] { return says(heard += page.receive(), "event: change"); }));
  // A clip is being read: the set-up is the folder's, not "this session".
  REQUIRE(served.send_clip("a.mp4", content(test_clip("portrait-right.mp4")), "2-next").status ==
          201);
  CHECK(names() == std::vector<std::string>{"1-as-bought", "2-next"});
  REQUIRE(eventually([&] { return line()["waiting"] == 0 && !line()["newest"].is_null(); }));
  REQUIRE(eventually([&] { return served.get("/report").status == 200; }));
  const json brace = {{"setup", "2-next"},
                      {"edits", {{{"field", "bow.brace_height"}, {"value", "5in"}, {"was", ""}}}}};
  REQUIRE(served.post("/api/facts", brace.dump()).status == 200);
  CHECK(line()["next"]["kind"] == "do-not-shoot-bow");
  CHECK(says(served.get("/report").body, "Do not shoot this bow as it is braced"));
  // Left out, the mean that was judged with it no longer holds.
  const json good = {
      {"setup", "2-next"},
      {"edits", {{{"field", "bow.brace_height"}, {"value", "7 1/4in"}, {"was", "5in"}}}}};
  REQUIRE(served.post("/api/facts", good.dump()).status == 200);
  REQUIRE(eventually([&] {
    const json kind = line()["next"]["kind"];
    return kind != "do-not-shoot-bow" && kind != "none";
  }));
  const json out = {{"setup", "2-next"}, {"clip", "a.mp4"}, {"reason", "plucked"}};
  REQUIRE(served.post("/api/leave-out", out.dump()).status == 200);
  const json after = line();
  CHECK((after["next"]["kind"] == "none" || after["newest"]["dropped"] == "plucked"));
}

TEST_CASE("truth: a reading in serve is byte for byte the one of session, but for when it was") {
  const std::string clip = content(test_clip("upside-down.mp4"));
  json served_reading;
  {
    const Served served({"--no-stills"});
    REQUIRE(served.ready());
    CHECK(served.send_clip("a.mp4", clip).status == 201);
    REQUIRE(eventually([&] {
      const json now = json::parse(served.get("/api/session").body);
      return now["waiting"] == 0 && now["setups"][0]["clips"].size() == 1;
    }));
    for (const auto& entry :
         fs::directory_iterator(served.folder() / "nocktrail-results/readings")) {
      served_reading = json::parse(content(entry.path()));
    }
    const json line = json::parse(served.get("/api/line").body);
    CHECK(says(line["newest"]["shots"][0]["lateral"].get<std::string>(), "Nock left"));
  }
  const Folder scratch;
  const Folder folder;
  folder.write("a.mp4", clip);
  Program session(scratch, "session",
                  {"session", folder.path().string(), "--no-logbook", "--no-stills"});
  REQUIRE(session.wait() == 0);
  json session_reading;
  for (const auto& entry : fs::directory_iterator(folder / "nocktrail-results/readings")) {
    session_reading = json::parse(content(entry.path()));
  }
  REQUIRE_FALSE(session_reading.is_null());
  // What differs between any two runs: the clock, and the folder's name.
  for (json* one : {&served_reading, &session_reading}) {
    for (const char* key : {"read_at_utc", "filmed_at_utc"}) {
      one->erase(key);
    }
    (*one)["reading"]["clip"].erase("path");
  }
  CHECK(served_reading.dump() == session_reading.dump());
}
