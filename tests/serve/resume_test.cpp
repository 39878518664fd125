// Uploads that are cut off and gone on with.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>
#include <string>
#include <thread>

#include "parts.hpp"
#include "served.hpp"

using namespace nocktrail::serve;
using namespace nocktrail::serve::test;
using nlohmann::json;

namespace {

const std::string kName = "00112233445566778899aabbccddeeff";

std::string hex(const std::string& bytes) {
  static constexpr const char* kDigits = "0123456789abcdef";
  std::string out;
  for (const char c : bytes) {
    out += kDigits[static_cast<unsigned char>(c) >> 4U];
    out += kDigits[static_cast<unsigned char>(c) & 15U];
  }
  return out;
}

std::string address(std::size_t from, const std::string& upload = kName) {
  return "/api/clips?name=a.mp4&setup=.&upload=" + upload + "&from=" + std::to_string(from);
}

// Announces the rest of the clip from there, sends `bytes` of it and hangs up.
void cut_off(const Served& served, const std::string& clip, std::size_t from, std::size_t bytes) {
  Socket socket(served.port());
  Headers headers = served.known();
  headers.emplace_back("Content-Length", std::to_string(clip.size() - from));
  socket.send(served.head("POST", address(from), headers));
  socket.send(clip.substr(from, bytes));
  socket.close();
}

json about(const Served& served, const std::string& upload = kName) {
  const Got got = served.get("/api/upload?upload=" + upload);
  return got.status == 200 ? json::parse(got.body) : json();
}

// What is there once it has come to rest.
std::size_t have(const Served& served, std::size_t least) {
  std::size_t now = 0;
  eventually([&] {
    const json told = about(served);
    now = told.is_object() ? told["have"].get<std::size_t>() : 0;
    return now >= least;
  });
  return now;
}

}  // namespace

TEST_CASE("fault: cut off at every tenth, an upload goes on where it stopped") {
  const Served served;
  REQUIRE(served.ready());
  const std::string clip = content(test_clip("let-down.mp4"));
  std::size_t from = 0;
  for (int tenth = 1; tenth < 10; ++tenth) {
    const std::size_t to = clip.size() * static_cast<std::size_t>(tenth) / 10;
    cut_off(served, clip, from, to - from);
    from = have(served, to);
    REQUIRE(from == to);
    // What came last, for the page to compare with its file.
    const std::string tail = about(served)["tail"];
    CHECK(tail == hex(clip.substr(from - 1024, 1024)));
    CHECK(served.files().size() == 1);  // hidden, and one alone
    CHECK(json::parse(served.get("/api/session").body)["setups"][0]["clips"].empty());
  }
  const Got got = served.post(address(from), clip.substr(from));
  CHECK(got.status == 201);
  CHECK(json::parse(got.body)["clip"] == "a.mp4");
  CHECK(served.files() == std::vector<std::string>{"a.mp4"});
  CHECK(content(served.folder() / "a.mp4") == clip);
  // Had the answer been lost, this tells the page.
  CHECK(about(served)["kept"]["clip"] == "a.mp4");
  CHECK(about(served)["have"] == 0);
}

TEST_CASE("unit: gone on with before the end of what came, the rest is written over") {
  const Served served;
  REQUIRE(served.ready());
  const std::string clip = content(test_clip("let-down.mp4"));
  cut_off(served, clip, 0, 50'000);
  REQUIRE(have(served, 50'000) == 50'000);
  CHECK(served.post(address(20'000), clip.substr(20'000)).status == 201);
  CHECK(content(served.folder() / "a.mp4") == clip);
}

TEST_CASE("fault: what does not fit what came is refused, and begins anew") {
  const Served served;
  REQUIRE(served.ready());
  const std::string clip = content(test_clip("let-down.mp4"));
  CHECK(served.post(address(100), clip.substr(100)).status == 409);  // nothing came
  cut_off(served, clip, 0, 50'000);
  REQUIRE(have(served, 50'000) == 50'000);
  CHECK(served.post(address(60'000), clip.substr(60'000)).status == 409);  // a hole
  CHECK(served.files().empty());
  cut_off(served, clip, 0, 50'000);
  REQUIRE(have(served, 50'000) == 50'000);
  CHECK(served.post(address(50'000), clip.substr(50'000) + "more").status == 400);  // another clip
  CHECK(served.files().empty());
  for (const char* bad : {"short", "../../etc/passwd-etc-passwd", "0011223344556677889G"}) {
    CHECK(served.post(address(0, escaped(bad)), clip).status == 400);
  }
  CHECK(served.post("/api/clips?name=a.mp4&from=5", clip).status == 400);
  CHECK(served.post("/api/clips?name=a.mp4&upload=" + kName + "&from=-5", clip).status == 400);
  CHECK(served.files().empty());
  // Strangers hear nothing of it.
  CHECK(served.get("/api/upload?upload=" + kName, {{"Host", served.host()}}).status == 403);
  CHECK(served.post(address(0), clip).status == 201);
}

TEST_CASE("fault: an upload over a way that is gone is taken over by the next try") {
  const Served served;
  REQUIRE(served.ready());
  const std::string clip = content(test_clip("let-down.mp4"));
  // The phone went to another network: nobody tells the server.
  const Socket hanging(served.port());
  Headers headers = served.known();
  headers.emplace_back("Content-Length", std::to_string(clip.size()));
  hanging.send(served.head("POST", address(0), headers));
  hanging.send(clip.substr(0, 40'000));
  REQUIRE(eventually([&] { return served.files().size() == 1; }));
  std::this_thread::sleep_for(std::chrono::milliseconds(200));
  CHECK(served.post(address(0), clip).status == 503);
  CHECK(served.get("/api/upload?upload=" + kName).status == 503);
  REQUIRE(have(served, 40'000) == 40'000);
  CHECK(served.post(address(40'000), clip.substr(40'000)).status == 201);
  CHECK(content(served.folder() / "a.mp4") == clip);
}

TEST_CASE("fault: parts are few, and none is left when the program ends") {
  Served served;
  REQUIRE(served.ready());
  const std::string clip = content(test_clip("let-down.mp4"));
  for (int k = 0; k < 20; ++k) {
    const std::string upload = kName.substr(0, 30) + (k < 10 ? "0" : "1") + std::to_string(k % 10);
    Socket socket(served.port());
    Headers headers = served.known();
    headers.emplace_back("Content-Length", std::to_string(clip.size()));
    socket.send(served.head("POST", address(0, upload), headers));
    socket.send(clip.substr(0, 1000));
    socket.close();
    eventually([&] {
      const json told = about(served, upload);
      return told.is_object() && told["have"] == 1000;
    });
  }
  CHECK(served.files().size() == Parts::Limits{}.most);
  served.program().signal(SIGTERM);
  CHECK(served.program().wait() == 0);
  CHECK(served.files().empty());
}

TEST_CASE("unit: parts that nobody comes back for go after an hour") {
  const Folder folder;
  Parts parts;
  auto part = std::make_unique<Incoming>(folder.path(), "a.mp4", ".", 100, IncomingLimits{});
  part->take("0123456789");
  parts.put(kName, std::move(part));
  const auto now = std::chrono::steady_clock::now();
  parts.drop_stale(now + std::chrono::minutes(59));
  REQUIRE(parts.look(kName) != nullptr);
  CHECK(parts.look(kName)->taken() == 10);
  CHECK(parts.look(kName)->tail_hex() == hex("0123456789"));
  parts.drop_stale(now + std::chrono::minutes(61));
  CHECK(parts.look(kName) == nullptr);
  CHECK(fs::is_empty(folder.path()));
}
