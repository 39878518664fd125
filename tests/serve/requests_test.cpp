// The requests that scripts and pages rely on, against the built program.
#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "served.hpp"

using namespace nocktrail::serve::test;
using nlohmann::json;

TEST_CASE("unit: one line on standard output, this machine alone, and a clean end") {
  Served served;
  REQUIRE(served.ready());
  CHECK(served.host().starts_with("127.0.0.1:"));
  CHECK(served.key().size() == 32);
  CHECK(served.program().out() == served.url() + "\n");
  const Got page = served.get("/?key=" + served.key(), {{"Host", served.host()}});
  CHECK(page.status == 200);
  CHECK(says(page.head, "Set-Cookie: nocktrail-"));
  CHECK(says(page.head, "HttpOnly; SameSite=Strict"));
  CHECK(says(page.head, "Referrer-Policy: no-referrer"));
  CHECK(says(page.head, "Content-Security-Policy: default-src 'none'; script-src 'self';"));
  CHECK_FALSE(says(page.head, "unsafe"));
  CHECK_FALSE(says(page.body, served.key()));
  served.program().signal(SIGINT);
  CHECK(served.program().wait() == 0);
  CHECK(says(served.program().err(), "stopped serving"));
  CHECK(served.program().out() == served.url() + "\n");
}

TEST_CASE("fault: without the secret, or to another host, 403 and nothing is said") {
  const Served served;
  REQUIRE(served.ready());
  const std::string key = served.key();
  const std::string wrong(32, '0');
  const auto silent = [](const Got& got) {
    CHECK(got.status == 403);
    CHECK(got.body.empty());
    CHECK_FALSE(says(got.head, "nocktrail"));
    CHECK_FALSE(says(got.head, "Server:"));
    CHECK_FALSE(says(got.head, "Set-Cookie"));
    CHECK_FALSE(says(got.head, "Access-Control"));
  };
  for (const char* target : {"/", "/api/session", "/api/line", "/api/events", "/style.css",
                             "/report", "/still", "/nothing", "/%00", "*", "/%zz"}) {
    INFO(target);
    silent(served.get(target, {{"Host", served.host()}}));
    silent(served.get(target, {{"Host", served.host()}, {"X-Nocktrail-Key", wrong}}));
    silent(served.get(target, {{"Host", "evil.example"}, {"X-Nocktrail-Key", key}}));
    silent(served.get(target, {{"X-Nocktrail-Key", key}}));
  }
  silent(served.get("/?key=" + wrong, {{"Host", served.host()}}));
  silent(served.get("/api/session?key=" + key, {{"Host", served.host()}}));
  silent(served.get("/",
                    {{"Host", served.host()}, {"Host", "evil.example"}, {"X-Nocktrail-Key", key}}));
  // What changes something: not by the cookie, not from another page.
  const std::string cookie = "nocktrail-" + std::to_string(served.port()) + "=" + key;
  const std::string clip = "/api/clips?name=a.mp4";
  silent(served.post(clip, "x", {{"Host", served.host()}, {"Cookie", cookie}}));
  silent(served.post(clip, "x", {{"Host", served.host()}, {"X-Nocktrail-Key", wrong}}));
  silent(served.post(
      clip, "x",
      {{"Host", served.host()}, {"X-Nocktrail-Key", key}, {"Origin", "http://evil.example"}}));
  const Socket socket(served.port());
  socket.send(served.head("OPTIONS", clip,
                          {{"Host", served.host()},
                           {"Origin", "http://evil.example"},
                           {"Access-Control-Request-Headers", "X-Nocktrail-Key"}}));
  silent(answer_on(socket));
  CHECK(served.files().empty());
  // The cookie serves for reading.
  CHECK(served.get("/api/session", {{"Host", served.host()}, {"Cookie", cookie}}).status == 200);
}

TEST_CASE("unit: a clip sent is kept, read and in the session; the same again is known") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  const json empty = json::parse(served.get("/api/session").body);
  CHECK(empty["schema"] == "nocktrail.session/2");
  CHECK(empty["waiting"] == 0);
  const Got first = served.send_clip("IMG_0001.MOV", "no video at all");
  CHECK(first.status == 201);
  CHECK(json::parse(first.body)["clip"] == "IMG_0001.MOV");
  CHECK(content(served.folder() / "IMG_0001.MOV") == "no video at all");
  const Got again = served.send_clip("other.mp4", "no video at all");
  CHECK(again.status == 200);
  CHECK(json::parse(again.body)["clip"] == "IMG_0001.MOV");
  const Got second = served.send_clip("IMG_0001.MOV", "something else");
  CHECK(second.status == 201);
  CHECK(json::parse(second.body)["clip"] == "IMG_0001-2.MOV");
  CHECK(served.files() == std::vector<std::string>{"IMG_0001-2.MOV", "IMG_0001.MOV"});
  json now;
  REQUIRE(eventually([&] {
    now = json::parse(served.get("/api/session").body);
    return now["waiting"] == 0 && now["setups"].size() == 1 &&
           now["setups"][0]["clips"].size() == 2;
  }));
  CHECK(now["setups"][0]["clips"][0]["status"] == "error");
  // What the file holds, and one key more.
  now.erase("waiting");
  CHECK(now == json::parse(content(served.folder() / "nocktrail-results/session.json")));
  CHECK(served.get("/report").status == 200);
  CHECK(served.get("/build-sheet").status == 404);
}

TEST_CASE("unit: a clip goes where its set-up is, new ones are made, and none outside") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  CHECK(served.send_clip("a.mp4", "1", "1-start").status == 201);
  CHECK(served.send_clip("b.mp4", "2", "2-lower").status == 201);
  CHECK(served.send_clip("c.mp4", "3").status == 201);  // the last one
  for (const char* setup :
       {"../x", "a/b", ".", "..", ".hidden", "nocktrail-results", "nocktrail-marks",
        "a\x01"
        "b",
        "\u202Egnp"}) {
    INFO(setup);
    CHECK(served.send_clip("d.mp4", "4", setup).status == 400);
  }
  CHECK(served.files() ==
        std::vector<std::string>{"1-start/a.mp4", "2-lower/b.mp4", "2-lower/c.mp4"});
}

TEST_CASE("unit: a set-up is begun by one change; a shot is left out and taken back") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  const auto ask = [&](const std::string& target, const json& body) {
    return served.post(target, body.dump());
  };
  CHECK(ask("/api/setups", {{"name", "as bought"}}).status == 201);
  const Got begun = ask("/api/setups", {{"name", "nock <down>"},
                                        {"field", "bow.nocking_point"},
                                        {"value", "7/16in"},
                                        {"notes", "a \"quiet\" evening"}});
  CHECK(begun.status == 201);
  CHECK(json::parse(begun.body)["setup"] == "2-nock-_down_");
  CHECK(content(served.folder() / "2-nock-_down_/setup.toml") ==
        "notes = \"a \\\"quiet\\\" evening\"\n[bow]\nnocking_point = \"7/16in\"\n");
  const Got wrong =
      ask("/api/setups", {{"name", "x"}, {"field", "bow.brace_height"}, {"value", "7 parsecs"}});
  CHECK(wrong.status == 400);
  CHECK(says(wrong.body, "Brace height: cannot read"));
  CHECK(ask("/api/setups", {{"name", "x"}, {"field", "a.b"}, {"value", "1"}}).status == 400);
  CHECK(served.post("/api/setups", "no json").status == 400);
  CHECK(served.post("/api/setups", "[1]").status == 400);
  CHECK(served.post("/api/setups", std::string(100000, 'x')).status == 413);
  CHECK(served.files().size() == 2);

  REQUIRE(served.send_clip("a.mp4", "1", "2-nock-_down_").status == 201);
  const json place = {{"setup", "2-nock-_down_"}, {"clip", "a.mp4"}};
  json out = place;
  out["reason"] = "plucked";
  CHECK(ask("/api/leave-out", out).status == 200);
  CHECK(content(served.folder() / "2-nock-_down_/setup.toml") ==
        "notes = \"a \\\"quiet\\\" evening\"\n[bow]\nnocking_point = \"7/16in\"\n\n"
        "[clip.\"a.mp4\"]\ndrop = \"plucked\"\n");
  CHECK(says(content(served.folder() / "2-nock-_down_/setup.toml.before"), "nocking_point"));
  // Another browser, that did not see it: told so, and nothing is written over.
  json late = place;
  late["reason"] = "short draw";
  CHECK(ask("/api/leave-out", late).status == 409);
  CHECK(says(content(served.folder() / "2-nock-_down_/setup.toml"), "plucked"));
  REQUIRE(
      eventually([&] { return says(served.get("/api/session").body, "\"dropped\":\"plucked\""); }));
  json back = place;
  back["reason"] = nullptr;
  back["was"] = "plucked";
  CHECK(ask("/api/leave-out", back).status == 200);
  CHECK_FALSE(says(content(served.folder() / "2-nock-_down_/setup.toml"), "plucked"));
  json missing = {{"setup", "1-as-bought"}, {"clip", "a.mp4"}, {"reason", "x"}};
  CHECK(ask("/api/leave-out", missing).status == 404);
  json blank = place;
  blank["reason"] = "  ";
  CHECK(ask("/api/leave-out", blank).status == 400);
}

TEST_CASE("unit: an open page hears of a change, and of a clip that came by other means") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  const Socket page(served.port());
  page.send(served.head("GET", "/api/events", served.known()));
  std::string heard;
  REQUIRE(eventually([&] {
    heard += page.receive();
    return says(heard, "retry:");
  }));
  served.folder().write("dropped.mp4", "not a film");
  REQUIRE(eventually([&] {
    heard += page.receive();
    return says(heard, "event: change");
  }));
  REQUIRE(eventually([&] { return says(served.get("/api/line").body, "dropped.mp4"); }));
}

TEST_CASE(
    "unit: for the local network the address of this machine in it, with a code and a warning") {
  Served served({"--no-stills", "--lan"});
  if (!served.ready()) {
    CHECK(says(served.program().err(), "in no network"));
    MESSAGE("skipped: this machine is in no network");
    return;
  }
  CHECK_FALSE(served.host().starts_with("127."));
  CHECK(served.program().out() == served.url() + "\n");
  REQUIRE(eventually([&] { return says(served.program().err(), "plain HTTP"); }));
  const std::string said = served.program().err();
  CHECK(says(said, "█"));
  CHECK(says(said, "also at http://127.0.0.1:" + std::to_string(served.port()) + "/?key="));
  // Each printed host is one to ask for; others are not.
  CHECK(served.get("/api/session").status == 200);
  CHECK(served
            .get("/api/session", {{"Host", "127.0.0.1:" + std::to_string(served.port())},
                                  {"X-Nocktrail-Key", served.key()}})
            .status == 200);
  CHECK(served
            .get("/api/session", {{"Host", "localhost:" + std::to_string(served.port())},
                                  {"X-Nocktrail-Key", served.key()}})
            .status == 403);
}

TEST_CASE("fault: a wrong command line, a port that is taken, and no folder are 2 and a line") {
  const Served served({"--no-stills"});
  REQUIRE(served.ready());
  const Folder scratch;
  const Folder folder;
  for (const std::vector<std::string>& wrong : std::vector<std::vector<std::string>>{
           {"serve", "/no/such/folder"},
           {"serve", folder.path().string(), "--port", "70000"},
           {"serve", folder.path().string(), "--port", std::to_string(served.port())},
           {"serve", folder.path().string(), "--settle", "0"},
           {"serve", folder.path().string(), "--prot", "80"}}) {
    Program program(scratch, "wrong", wrong);
    CHECK(program.wait() == 2);
    const std::string said = program.err();
    CHECK(std::count(said.begin(), said.end(), '\n') == 1);
    CHECK(program.out().empty());
  }
}
