// Replays and the form of facts, as requests.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>

#include "byte_range.hpp"
#include "served.hpp"

using namespace nocktrail::serve;
using namespace nocktrail::serve::test;
using nlohmann::json;

namespace {

const std::string kReplay = "/replay?setup=.&clip=a.mp4&shot=1";

std::size_t films(const Served& served) {
  std::size_t count = 0;
  std::error_code error;
  for (const auto& entry :
       fs::directory_iterator(served.folder() / "nocktrail-results/replays", error)) {
    count += entry.path().extension() == ".mp4" ? 1U : 0U;
  }
  return count;
}

json field_of(const json& form, const std::string& name) {
  for (const json& field : form["fields"]) {
    if (field["field"] == name) {
      return field;
    }
  }
  return {};
}

}  // namespace

TEST_CASE("reference: one range of bytes is answered as RFC 9110 has it") {
  // Section 14.1.2's examples, of a body of 10000 bytes.
  const auto asked = [](const char* range) {
    Answer answer;
    answer.body.assign(10000, 'x');
    answer.body[9999] = 'z';
    take_range(answer, range);
    return answer;
  };
  CHECK(asked("bytes=0-499").content_range == "bytes 0-499/10000");
  CHECK(asked("bytes=0-499").body.size() == 500);
  CHECK(asked("bytes=500-999").content_range == "bytes 500-999/10000");
  CHECK(asked("bytes=-500").content_range == "bytes 9500-9999/10000");
  CHECK(asked("bytes=9500-").content_range == "bytes 9500-9999/10000");
  CHECK(asked("bytes=9999-").body == "z");
  CHECK(asked("bytes=9999-20000").content_range == "bytes 9999-9999/10000");
  CHECK(asked("bytes=0-1").status == 206);
  CHECK(asked("bytes=10000-").status == 416);
  CHECK(asked("bytes=10000-").content_range == "bytes */10000");
  CHECK(asked("bytes=-0").status == 416);
  for (const char* whole : {"", "bytes", "bytes=", "bytes=-", "bytes=5-2", "bytes=a-b",
                            "bytes=0-0,-1", "lines=1-2", "bytes=99999999999999999999999-"}) {
    INFO(whole);
    CHECK(asked(whole).status == 200);
    CHECK(asked(whole).body.size() == 10000);
  }
}

TEST_CASE("unit: a replay is made when it is asked for, kept, and made anew when facts change") {
  const Served served;
  REQUIRE(served.ready());
  served.folder().write("session.toml", "hand = \"right\"\ncant = 15\n");
  CHECK(served.get(kReplay).status == 404);
  REQUIRE(served.send_clip("a.mp4", content(test_clip("portrait-right.mp4")), ".").status == 201);
  REQUIRE(served.send_clip("none.mp4", content(test_clip("let-down.mp4")), ".").status == 201);
  REQUIRE(eventually([&] { return json::parse(served.get("/api/session").body)["waiting"] == 0; }));
  CHECK(films(served) == 0);
  const Got film = served.get(kReplay);
  REQUIRE(film.status == 200);
  CHECK(says(film.head, "Content-Type: video/mp4"));
  CHECK(says(film.head, "Accept-Ranges: bytes"));
  CHECK(film.body.substr(4, 4) == "ftyp");
  CHECK(films(served) == 1);
  Headers part = served.known();
  part.emplace_back("Range", "bytes=4-7");
  const Got four = served.get(kReplay, part);
  CHECK(four.status == 206);
  CHECK(four.body == "ftyp");
  CHECK(says(four.head, "Content-Range: bytes 4-7/" + std::to_string(film.body.size())));
  CHECK(films(served) == 1);
  // No clip to the session, though it lies in its folder.
  CHECK(json::parse(served.get("/api/session").body)["setups"][0]["clips"].size() == 2);

  CHECK(served.get("/replay?setup=.&clip=none.mp4&shot=1").status == 400);
  CHECK(served.get("/replay?setup=.&clip=a.mp4&shot=7").status == 400);
  CHECK(served.get("/replay?setup=.&clip=a.mp4&shot=x").status == 400);
  CHECK(served.get("/replay?setup=.&clip=" + escaped("../a.mp4") + "&shot=1").status == 404);
  CHECK(served.get(kReplay, {{"Host", served.host()}}).status == 403);

  // A limit that is passed is on the film at once.
  served.folder().write("session.toml",
                        "hand = \"right\"\ncant = 15\n[bow]\ndraw_weight = \"45lb\"\n"
                        "min_grains_per_pound = 8\n[arrow]\ntotal_mass = \"200gr\"\n");
  const Got stop = served.get(kReplay);
  CHECK(stop.status == 200);
  CHECK(stop.body != film.body);
  CHECK(films(served) == 1);
}

TEST_CASE("rules: what facts forbid is said at once, and what no longer holds is not said") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  served.folder().write("1-start/setup.toml", "[bow]\nbrace_min = \"6 3/4in\"\n");
  served.folder().write("2-next/setup.toml", "[bow]\nbrace_height = \"7in\"\n");
  const auto line = [&] { return json::parse(served.get("/api/line").body); };
  // Not judged with these yet.
  CHECK(line()["next"]["kind"] == "none");
  REQUIRE(eventually([&] { return line()["next"]["kind"] == "film-more"; }));
  const json edit = {
      {"setup", "2-next"},
      {"edits", {{{"field", "bow.brace_height"}, {"value", "5in"}, {"was", "7in"}}}}};
  REQUIRE(served.post("/api/facts", edit.dump()).status == 200);
  // Whatever the watcher is about.
  const json now = line();
  CHECK(now["next"]["forbids"] == true);
  CHECK(says(now["next"]["words"].get<std::string>(), "Do not shoot this bow as it is braced"));
  CHECK(now["sheet"] == false);
  CHECK(served.get("/build-sheet").status == 404);
  const json session = json::parse(served.get("/api/session").body);
  CHECK(session["next"]["kind"] == "do-not-shoot-bow");
  // An earlier set-up that forbids says so, too.
  served.folder().write("1-start/setup.toml",
                        "[bow]\nbrace_min = \"6 3/4in\"\nbrace_height = \"5in\"\n");
  const json setups = line()["setups"];
  CHECK(setups[0]["stops"].size() == 1);
}

TEST_CASE("unit: the form of facts shows, refuses, tells who was late, and keeps comments") {
  const Served served;
  REQUIRE(served.ready());
  served.folder().write("session.toml", "hand = \"right\" # hers\n");
  const Got form = served.get("/api/facts?setup=.");
  REQUIRE(form.status == 200);
  CHECK(field_of(json::parse(form.body), "hand")["value"] == "right");
  const auto save = [&](const json& edits) {
    return served.post("/api/facts", json{{"setup", "."}, {"edits", edits}}.dump());
  };
  const Got slips = save({{{"field", "bow.brace_height"}, {"value", "72in"}, {"was", ""}},
                          {{"field", "arrow.tip_mass"}, {"value", "heavy"}, {"was", ""}}});
  CHECK(slips.status == 400);
  CHECK(json::parse(slips.body)["faults"].size() == 2);
  CHECK(content(served.folder() / "session.toml") == "hand = \"right\" # hers\n");
  CHECK(save({{{"field", "hand"}, {"value", "left"}, {"was", "right"}}}).status == 200);
  CHECK(content(served.folder() / "session.toml") == "hand = \"left\" # hers\n");
  const Got late = save({{{"field", "hand"}, {"value", ""}, {"was", "right"}}});
  CHECK(late.status == 409);
  CHECK(json::parse(late.body)["changed"][0]["value"] == "left");
  CHECK(content(served.folder() / "session.toml") == "hand = \"left\" # hers\n");
  CHECK(served.get("/api/facts?setup=" + escaped("../x")).status == 404);
  CHECK(served.post("/api/facts", "{\"setup\":\".\",\"edits\":5}").status == 400);
  CHECK(
      served
          .post("/api/facts", "{\"setup\":\".\",\"edits\":[{\"field\":\"clip\",\"value\":\"x\"}]}")
          .status == 400);
  // Of a clip alone, under its own name.
  CHECK(served.get("/api/facts?setup=.&clip=none.mp4").status == 404);
  served.folder().write("a & b.mp4", "1");
  const json edit = {{"setup", "."},
                     {"clip", "a & b.mp4"},
                     {"edits", {{{"field", "cant"}, {"value", "9"}, {"was", ""}}}}};
  CHECK(served.post("/api/facts", edit.dump()).status == 200);
  const json of_clip =
      json::parse(served.get("/api/facts?setup=.&clip=" + escaped("a & b.mp4")).body);
  CHECK(of_clip["clip"] == "a & b.mp4");
  CHECK(field_of(of_clip, "cant")["value"] == "9");
  CHECK(field_of(of_clip, "hand")["before"] == "left");
  CHECK(says(content(served.folder() / "session.toml"), "[clip.\"a & b.mp4\"]\ncant = 9\n"));
  // A cookie changes nothing.
  CHECK(served
            .post("/api/facts", json{{"setup", "."}, {"edits", json::array()}}.dump(),
                  {{"Host", served.host()}})
            .status == 403);
}
