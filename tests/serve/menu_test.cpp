// What the desktop's menu starts (src/cli/menu/nocktrail-line), with a browser that only notes what
// it was asked to open, and what it shows for the phone.
#include <doctest/doctest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "served.hpp"

using namespace nocktrail::serve::test;
using nlohmann::json;

namespace {

// A home, a folder of programs that comes first, and what the "browser" was given.
class Desk {
 public:
  Desk() {
    fs::create_directories(folder_ / "bin");
    fs::create_directories(folder_ / "run");
    fs::create_directories(folder_ / "home");
    fs::create_symlink(NOCKTRAIL_PROGRAM, folder_ / "bin/nocktrail");
    script("xdg-open", "echo \"$1\" >>'" + (folder_ / "opened").string() + "'");
    script("xdg-user-dir", "echo \"$HOME\"");
  }

  void script(const std::string& name, const std::string& words) const {
    fs::remove(folder_ / "bin" / name);  // not through a link
    folder_.write("bin/" + name, "#!/bin/sh\n" + words + "\n");
    fs::permissions(folder_ / "bin" / name, fs::perms::owner_all);
  }

  Program start(const std::string& name, const std::string& arguments = "") const {
    return run(name, "exec '" NOCKTRAIL_LINE "' " + arguments + " </dev/null");
  }
  Program typed(const std::string& name, const std::string& words) const {
    folder_.write("typed", words);
    return run(name, "exec script -q -e -c '" NOCKTRAIL_LINE " --this-computer' /dev/null <'" +
                         (folder_ / "typed").string() + "'");
  }

  std::vector<std::string> sessions() const {
    std::vector<std::string> all;
    for (const auto& one : fs::directory_iterator(folder_ / "home/nocktrail")) {
      all.push_back(one.path().filename().string());
    }
    return all;
  }
  std::string opened() const { return content(folder_ / "opened"); }
  const Folder& folder() const { return folder_; }

 private:
  Program run(const std::string& name, const std::string& command) const {
    return {folder_,
            name,
            {"/bin/sh", "-c",
             "export HOME='" + (folder_ / "home").string() + "' XDG_RUNTIME_DIR='" +
                 (folder_ / "run").string() + "' PATH='" + (folder_ / "bin").string() +
                 "':\"$PATH\"; " + command},
            Program::Other{}};
  }

  Folder folder_;
};

int lines(const std::string& text) {
  return static_cast<int>(std::count(text.begin(), text.end(), '\n'));
}

}  // namespace

TEST_CASE("unit: from the menu a folder is made, served, and its page opened, once") {
  const Desk desk;
  Program first = desk.start("first", "--this-computer");
  REQUIRE(eventually([&] { return lines(desk.opened()) == 1; }));
  CHECK(desk.sessions().size() == 1);  // of today's date, where nobody can be asked
  const std::string address = desk.opened().substr(0, desk.opened().find('\n'));
  CHECK(address.starts_with("http://127.0.0.1:"));
  CHECK(address.ends_with("#phone"));
  CHECK(says(first.out(), "The session's folder: "));
  // Nobody else may read the note of the address.
  for (const auto& note : fs::directory_iterator(desk.folder() / "run")) {
    CHECK((fs::status(note).permissions() & (fs::perms::group_all | fs::perms::others_all)) ==
          fs::perms::none);
  }

  // Chosen again while it runs: the same page.
  Program second = desk.start("second", "--this-computer");
  CHECK(second.wait() == 0);
  CHECK(says(second.out(), "runs already"));
  CHECK(desk.opened() == address + "\n" + address + "\n");

  // Its window is closed, which the terminal tells, and then the system: it ends in order.
  first.signal_group(SIGHUP);
  first.signal_group(SIGHUP);
  CHECK(first.wait() != -1);
  CHECK(eventually([&] { return says(first.err(), "stopped serving; what was read is kept"); }));

  // And it can be begun anew, with another secret.
  Program third = desk.start("third", "--this-computer");
  CHECK(eventually([&] { return lines(desk.opened()) == 3; }));
  CHECK_FALSE(desk.opened().ends_with(address + "\n"));
  third.signal_group(SIGINT);
  CHECK(third.wait() == 0);
}

TEST_CASE("unit: from the menu the last session goes on, or another is begun under a name") {
  const Desk desk;
  // What a person types in the window, given by script(1) as a terminal.
  const auto typed = [&](const std::string& words) {
    const int before = lines(desk.opened());
    Program window = desk.typed("window" + std::to_string(before), words);
    CHECK(eventually([&] { return lines(desk.opened()) == before + 1; }));
    window.signal(SIGTERM);  // the terminal goes, and with it what runs in it
    window.wait();
  };
  typed("../../Elm \"50\"\n");
  CHECK(desk.sessions() == std::vector<std::string>{"Elm \"50\""});
  typed("\n");
  CHECK(desk.sessions().size() == 1);
  typed(".. Ash\n");
  CHECK(desk.sessions().size() == 2);
  CHECK(fs::is_directory(desk.folder() / "home/nocktrail/Ash"));
  CHECK_FALSE(fs::exists(desk.folder() / "Elm \"50\""));
}

TEST_CASE("fault: from the menu, without a browser, without a network, and of what is no folder") {
  const Desk desk;
  desk.script("xdg-open", "exit 3");
  desk.script("hostname", "echo");
  Program alone = desk.start("alone");
  REQUIRE(eventually([&] { return says(alone.out(), "give it this address: http://127.0.0.1:"); }));
  CHECK(says(alone.out(), "in no network, so no phone can come in"));
  alone.signal_group(SIGINT);
  CHECK(alone.wait() == 0);

  Program nowhere = desk.start("nowhere", "/nothing/here");
  CHECK(nowhere.wait() == 2);
  CHECK(says(nowhere.out(), "/nothing/here is not a folder"));

  desk.script("nocktrail", "echo 'nocktrail: cannot' >&2; exit 2");
  Program fails = desk.start("fails");
  CHECK(fails.wait() == 2);
}

TEST_CASE("unit: the code for the phone needs the secret in the header, and holds no more") {
  const Served alone;
  REQUIRE(alone.ready());
  const std::string cookie = "nocktrail-" + std::to_string(alone.port()) + "=" + alone.key();
  CHECK(alone.post("/api/phone", "{}", {{"Host", alone.host()}, {"Cookie", cookie}}).status == 403);
  CHECK(alone.get("/api/phone").status == 404);
  const json told = json::parse(alone.post("/api/phone", "{}").body);
  CHECK(told["addresses"].empty());  // this computer's own address leads a phone to itself

  const Served open({"--lan"});
  if (!open.ready()) {
    MESSAGE("skipped: this computer is in no network");
    return;
  }
  const json phone = json::parse(open.post("/api/phone", "{}").body);
  REQUIRE_FALSE(phone["addresses"].empty());
  CHECK(phone["addresses"][0]["url"] == open.url());
  for (const json& one : phone["addresses"]) {
    CHECK_FALSE(says(one["url"].get<std::string>(), "127.0.0.1"));
    // ISO/IEC 18004: 17 + 4 squares for each version.
    CHECK((one["side"].get<int>() - 17) % 4 == 0);
    CHECK(one["path"].get<std::string>().starts_with("M0 0h7v1H0z"));  // the finder's upper edge
  }
}
