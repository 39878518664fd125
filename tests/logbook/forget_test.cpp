#include "nocktrail/logbook/forget.hpp"

#include <doctest/doctest.h>

#include <filesystem>
#include <string>
#include <vector>

#include "asking.hpp"
#include "nocktrail/logbook/answers.hpp"
#include "nocktrail/logbook/transfer.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using test::complaint;
using test::says;

namespace fs = std::filesystem;

namespace {

using Names = std::vector<std::string>;

Names clips(const Logbook& logbook) {
  Names out;
  for (const logbook::ShotAnswer& shot : logbook::shots(logbook, {})) {
    out.push_back(fmt::format("{}#{}", shot.clip, shot.number));
  }
  return out;
}

Names setups(const Logbook& logbook) {
  Names out;
  for (const logbook::SetupAnswer& setup : logbook::setups(logbook, {})) {
    out.push_back(setup.session + "/" + setup.name);
  }
  return out;
}

// The same clips in a second folder that is there as well.
tune::SessionRecord copy_of(tune::SessionRecord session) {
  session.name = "backup";
  session.folder = "/mnt/backup/heron-may";
  return session;
}

class Book {
 public:
  Book() : logbook(folder / "logbook.sqlite") {
    session.folder = (folder / "heron-may").string();
    fs::create_directory(session.folder);
    record();
  }
  logbook::Recorded record() { return logbook.record(session, test::heron_judgement()); }

  test::Folder folder;
  Logbook logbook;
  tune::SessionRecord session = test::heron_session();
};

}  // namespace

TEST_CASE("unit: a forgotten clip stays forgotten when its folder is read again") {
  Book book;
  const logbook::ForgottenEntry done = logbook::forget(book.logbook, {"", "b.mp4"});
  CHECK(done.session == "heron, may");
  CHECK(done.setup == "1 nock high");
  CHECK(done.clip == "b.mp4");
  CHECK(clips(book.logbook) == Names{"a.mp4#1", "c.mp4#1", "d.mp4#1"});
  CHECK(book.record().rows_changed == 0);
  CHECK(clips(book.logbook).size() == 3);
  // Renamed, moved and read anew by another version: the same content.
  book.session.setups[0].clips[1].file = "renamed.mp4";
  book.session.setups[0].clips[1].program_version = "0.2.0";
  book.session.setups[1].clips.push_back(book.session.setups[0].clips[1]);
  book.session.setups[0].clips.pop_back();
  CHECK(book.record().readings_added == 1);
  CHECK(clips(book.logbook).size() == 3);
  // And in another folder.
  book.logbook.record(copy_of(book.session), test::heron_judgement());
  CHECK(clips(book.logbook).size() == 3);
  test::check_integrity(book.logbook.file());
}

TEST_CASE("unit: a forgotten shot leaves the clip's other one, and the verdict says so") {
  Book book;
  book.session.setups[0].clips[0].reading.shots.push_back(test::shot(-1.0, 0.5));
  book.record();
  logbook::forget(book.logbook, {"", "a.mp4#1"});
  book.record();
  CHECK(clips(book.logbook) == Names{"a.mp4#2", "b.mp4#1", "c.mp4#1", "d.mp4#1"});
  const std::vector<logbook::SetupAnswer> answers = logbook::setups(book.logbook, {});
  CHECK(answers.at(0).forgotten == 1);
  CHECK(answers.at(1).forgotten == 0);
  CHECK(logbook::compare(book.logbook, "cedar", "cedar", {}).first.counted == 3);
  CHECK(logbook::take_back(book.logbook, {"", "a.mp4#1"}).number == 1);
  CHECK(clips(book.logbook).size() == 5);
  CHECK(logbook::setups(book.logbook, {}).at(0).forgotten == 0);
}

TEST_CASE("unit: a shot from the side was never among the counted ones") {
  Book book;
  tune::ClipRecord side = test::clip("side.mp4", "ss", "2026-05-30T09:07:00Z", 0.0, 1.0);
  side.reading.shots[0].view = View::side;
  side.reading.shots[0].nock_right_deg.reset();
  book.session.setups[0].clips.push_back(side);
  book.record();
  const int before = logbook::compare(book.logbook, "cedar", "cedar", {}).first.counted;
  logbook::forget(book.logbook, {"", "side.mp4"});
  CHECK(logbook::setups(book.logbook, {}).at(0).forgotten == 0);
  CHECK(logbook::compare(book.logbook, "cedar", "cedar", {}).first.counted == before);
}

TEST_CASE("unit: a forgotten session is in no answer, wherever its folder goes") {
  Book book;
  logbook::forget(book.logbook, {"Heron, May", ""});
  CHECK(clips(book.logbook).empty());
  CHECK(setups(book.logbook).empty());
  CHECK(says(complaint([&] {
               logbook::setups(book.logbook, {"Heron", "", "", ""});
             }),
             "no bow has a name in it yet"));
  CHECK(book.record().forgotten);
  fs::remove(book.session.folder);
  book.session.folder = (book.folder / "elsewhere").string();
  CHECK(book.record().forgotten);
  CHECK(clips(book.logbook).empty());
  // By its folder it is taken back.
  logbook::take_back(book.logbook, {book.session.folder, ""});
  CHECK(clips(book.logbook).size() == 4);
  CHECK_FALSE(book.record().forgotten);
}

TEST_CASE("unit: a clip of a forgotten session still counts in another that holds it") {
  Book book;
  book.logbook.record(copy_of(book.session), test::heron_judgement());
  logbook::forget(book.logbook, {"heron, may", ""});
  CHECK(clips(book.logbook).size() == 4);
  CHECK(setups(book.logbook) == Names{"backup/1 nock high", "backup/2 nock down"});
}

TEST_CASE("unit: the same content under two folders counts once") {
  Book book;
  tune::SessionRecord copy = copy_of(book.session);
  book.logbook.record(copy, test::heron_judgement());
  CHECK(clips(book.logbook) == Names{"a.mp4#1", "b.mp4#1", "c.mp4#1", "d.mp4#1"});
  CHECK(setups(book.logbook) == Names{"heron, may/1 nock high", "heron, may/2 nock down"});
  CHECK(logbook::compare(book.logbook, "cedar", "cedar", {}).first.counted == 4);
  // One clip more there: that set-up is another one, and tells how many it shares.
  copy.setups[1].clips.push_back(test::clip("e.mp4", "ee", "2026-05-30T11:00:00Z", -2.0, 0.0));
  tune::SessionJudgement judgement = test::heron_judgement();
  judgement.setups[1].counted = 3;
  book.logbook.record(copy, judgement);
  CHECK(clips(book.logbook).size() == 5);
  CHECK(setups(book.logbook).size() == 3);
  CHECK(setups(book.logbook).back() == "backup/2 nock down");
  CHECK(logbook::setups(book.logbook, {}).back().elsewhere == 2);
  CHECK(logbook::compare(book.logbook, "cedar", "cedar", {}).first.counted == 5);
  // What left the first folder counts where it still is.
  book.session.setups[0].clips.clear();
  book.record();
  CHECK(setups(book.logbook) ==
        Names{"backup/1 nock high", "heron, may/2 nock down", "backup/2 nock down"});
  CHECK(clips(book.logbook).size() == 5);
}

TEST_CASE("unit: an empty folder leaves nothing behind") {
  const test::Folder folder;
  Logbook logbook(folder / "logbook.sqlite");
  tune::SessionRecord session = test::heron_session();
  const tune::SessionRecord full = session;
  for (tune::SetupRecord& setup : session.setups) {
    setup.clips.clear();
  }
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
  for (const char* table : {"sessions", "setups", "bows", "arrows", "verdicts", "advice"}) {
    CHECK(test::ask(folder / "logbook.sqlite", fmt::format("SELECT count(*) FROM {}", table)) ==
          "0\n");
  }
  // A set-up that nobody has shot with yet is none either; the change to the one after it is told
  // from the last that was shot.
  session = full;
  session.setups.insert(session.setups.begin() + 1, session.setups[0]);
  session.setups[1].name = "1b begun";
  session.setups[1].clips.clear();
  session.setups[1].facts.bow.string = "12 strands";
  session.setups[2].facts.bow.string = "12 strands";
  logbook.record(session, test::heron_judgement());
  CHECK(setups(logbook) == Names{"heron, may/1 nock high", "heron, may/2 nock down"});
  CHECK(test::ask(folder / "logbook.sqlite",
                  "SELECT name, what FROM changes JOIN setups ON setups.id = setup_id ORDER BY "
                  "what") == "2 nock down|nocking_point_m\n2 nock down|string\n");
  // Emptied later, it keeps what was shot in it, as gone.
  session.setups[0].clips.clear();
  logbook.record(session, test::heron_judgement());
  CHECK(logbook::shots(logbook, {}).size() == 4);
}

TEST_CASE("unit: what was forgotten is listed, and comes through an export") {
  Book book;
  logbook::forget(book.logbook, {"", "2 nock down/c.mp4"});
  logbook::forget(book.logbook, {"", "a.mp4#1"});
  logbook::forget(book.logbook, {"heron, may", ""});
  const auto list = logbook::forgotten(book.logbook);
  REQUIRE(list.size() == 3);
  logbook::export_json(book.logbook, book.folder / "out.json");
  Logbook copy(book.folder / "copy.sqlite");
  logbook::import_json(copy, book.folder / "out.json");
  CHECK(logbook::forgotten(copy).size() == 3);
  CHECK(clips(copy).empty());
  // A second time changes nothing.
  const std::string all = logbook::json_text(book.logbook);
  logbook::forget(book.logbook, {"", "a.mp4#1"});
  CHECK(logbook::json_text(book.logbook) == all);
}

TEST_CASE("fault: what is to be forgotten must be one thing that is there") {
  Book book;
  tune::SessionRecord other = copy_of(book.session);
  for (tune::SetupRecord& setup : other.setups) {
    for (tune::ClipRecord& clip : setup.clips) {
      clip.sha256 += "o";
    }
  }
  book.logbook.record(other, test::heron_judgement());
  const std::string all = logbook::json_text(book.logbook);
  const auto refused = [&](const std::string& session, const std::string& clip) {
    return complaint([&] { logbook::forget(book.logbook, {session, clip}); });
  };
  CHECK(says(refused("", ""), "name a clip"));
  CHECK(says(refused("", "a.mp4"),
             "several clips are named \"a.mp4\": heron, may / 1 nock high / "
             "a.mp4, backup / 1 nock high / a.mp4; give SETUP/CLIP"));
  CHECK(says(refused("", "a.mp5"),
             "there is no clip \"a.mp5\" in this logbook; nearly right: "
             "\"a.mp4\""));
  CHECK(says(refused("backup", "a.mp4#3"), "\"a.mp4\" holds 1 shot"));
  CHECK(says(refused("", "2 nock down/a.mp4"), "there is no clip"));
  CHECK(says(refused("bakcup", ""),
             "there is no session \"bakcup\" in this logbook; nearly right: "
             "\"backup\""));
  CHECK(logbook::json_text(book.logbook) == all);
  CHECK(refused("backup", "a.mp4").empty());
  CHECK(clips(book.logbook).size() == 7);
}
