#include <doctest/doctest.h>

#include <filesystem>

#include "asking.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "sessions.hpp"

using namespace nocktrail;
using logbook::Logbook;
using logbook::Recorded;
using test::ask;

namespace fs = std::filesystem;

TEST_CASE("unit: a session becomes rows, each fact in its place") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  tune::SessionJudgement judgement = test::heron_judgement();
  tune::JudgedShot far_away;
  far_away.clip = "b.mp4";
  far_away.outlier = true;
  far_away.why = "3 scatters away";
  judgement.setups[0].shots = {far_away};
  judgement.next.kind = StepKind::trim_shaft;
  judgement.next.amount = 0.003175;
  judgement.next.words = "Trim 1/8 in.";
  judgement.next.cautions = {"once cut, cut"};
  Logbook logbook(file);
  const Recorded first = logbook.record(test::heron_session(), judgement);
  CHECK(first.readings_added == 4);
  CHECK(ask(file, "SELECT name, folder FROM sessions") ==
        "heron, may|/home/robin/tuning/heron-may\n");
  CHECK(ask(file, "SELECT name, draw_weight_n, rated_draw_m FROM bows") == "Heron|200.25|NULL\n");
  CHECK(ask(file, "SELECT name, spine_convention, spine FROM arrows") ==
        "cedar|wood-pounds|50.0\n");
  CHECK(ask(file, "SELECT position, name, nocking_point_m, hand, cant_deg, notes FROM setups") ==
        "1|1 nock high|0.015875|right|NULL|NULL\n"
        "2|2 nock down|0.0127|right|NULL|wind from the left\n");
  CHECK(ask(file, "SELECT file, sha256, filmed_at, present, dropped FROM clips") ==
        "a.mp4|aa|2026-05-30T09:00:00Z|1|NULL\nb.mp4|bb|2026-05-30T09:05:00Z|1|NULL\n"
        "c.mp4|cc|2026-05-30T10:00:00Z|1|NULL\nd.mp4|dd|2026-05-30T10:05:00Z|1|NULL\n");
  CHECK(ask(file,
            "SELECT number, nock_right_deg, nock_right_u95_deg, nock_high_deg, program_version, "
            "readings.status, bow_right_deg FROM readings JOIN shots ON shots.id = shot_id LIMIT "
            "1") == "1|-2.5|0.21|1.5|0.1.0|measured|NULL\n");
  CHECK(ask(file, "SELECT outlier FROM shots") == "NULL\n3 scatters away\nNULL\nNULL\n");
  CHECK(ask(file, "SELECT counted, lateral_deg, spine, nocking_point, warnings FROM verdicts") ==
        "2|-2.375|weak|high|only two shots\nuneven spacing\n"
        "2|-1.875|weak|level|only two shots\nuneven spacing\n");
  CHECK(ask(file, "SELECT what, before_number, after_number, before_text FROM changes") ==
        "nocking_point_m|0.015875|0.0127|NULL\n");
  CHECK(ask(file, "SELECT kind, amount, words, cautions FROM advice") ==
        "trim-shaft|0.003175|Trim 1/8 in.|once cut, cut\n");
  CHECK(ask(file, "SELECT count(*), min(path) FROM stills") == "4|nocktrail/a.mp4.png\n");
  test::check_integrity(file);
}

TEST_CASE("unit: recording the same again changes nothing") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook(file).record(test::heron_session(), test::heron_judgement());
  const std::string bytes = test::content(file);
  const Recorded again = Logbook(file).record(test::heron_session(), test::heron_judgement());
  CHECK(again.readings_added == 0);
  CHECK(again.rows_changed == 0);
  CHECK(test::content(file) == bytes);
}

TEST_CASE("unit: a newer program's reading is added, the older one stays") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  tune::ClipRecord& clip = session.setups[0].clips[0];
  clip.program_version = "0.2.0";
  clip.reading.shots[0].nock_right_deg->value = -2.375;
  const Recorded again = logbook.record(session, test::heron_judgement());
  CHECK(again.readings_added == 1);
  CHECK(ask(file,
            "SELECT program_version, nock_right_deg, current FROM readings JOIN clips ON clips.id "
            "= clip_id WHERE file = 'a.mp4' ORDER BY readings.id") ==
        "0.1.0|-2.5|0\n0.2.0|-2.375|1\n");
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
}

TEST_CASE("unit: a shot that a newer reading no longer finds is not current") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  tune::ClipRecord& clip = session.setups[0].clips[0];
  clip.reading.shots.push_back(test::shot(-1.0, 0.0));
  logbook.record(session, test::heron_judgement());
  const std::string current_of_a =
      "SELECT count(*) FROM readings JOIN clips ON clips.id = clip_id WHERE file = 'a.mp4' AND "
      "current = 1";
  CHECK(ask(file, current_of_a) == "2\n");
  clip.reading.shots.pop_back();
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file, current_of_a) == "1\n");
  CHECK(ask(file, "SELECT count(*) FROM shots") == "5\n");
}

TEST_CASE("unit: a still that is gone is no row any more, nor one that now shows another clip") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  session.setups[0].clips[0].still = "stills/new.png";
  session.setups[0].clips[1].still = session.setups[1].clips[0].still;  // changed names
  session.setups[1].clips.erase(session.setups[1].clips.begin());
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file, "SELECT file, path FROM stills JOIN clips ON clips.id = clip_id ORDER BY file") ==
        "a.mp4|stills/new.png\nb.mp4|nocktrail/c.mp4.png\nd.mp4|nocktrail/d.mp4.png\n");
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
}

TEST_CASE("unit: another judgement is another verdict") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionJudgement judgement = test::heron_judgement();
  logbook.record(test::heron_session(), judgement);
  judgement.setups[1].counted = 1;
  logbook.record(test::heron_session(), judgement);
  CHECK(ask(file, "SELECT counted, current FROM verdicts ORDER BY id") == "2|1\n2|0\n1|1\n");
}

TEST_CASE("unit: a renamed, moved, dropped or deleted clip stays the same clip") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  tune::ClipRecord moved = session.setups[0].clips[0];
  moved.file = "renamed.mp4";
  moved.dropped = "plucked";
  session.setups[0].clips.clear();  // b.mp4 deleted, a.mp4 moved to the second set-up
  session.setups[1].clips.push_back(moved);
  const Recorded again = logbook.record(session, test::heron_judgement());
  CHECK(again.readings_added == 0);
  CHECK(ask(file,
            "SELECT sha256, file, setups.name, present, dropped FROM clips JOIN setups ON "
            "setups.id = setup_id ORDER BY sha256") ==
        "aa|renamed.mp4|2 nock down|1|plucked\nbb|b.mp4|1 nock high|0|NULL\n"
        "cc|c.mp4|2 nock down|1|NULL\ndd|d.mp4|2 nock down|1|NULL\n");
}

TEST_CASE("unit: a second copy of a clip is not a second clip") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  session.setups[1].clips.push_back(session.setups[0].clips[0]);
  session.setups[1].clips.back().file = "copy.mp4";
  CHECK(logbook.record(session, test::heron_judgement()).readings_added == 4);
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
  CHECK(ask(file, "SELECT file FROM clips WHERE sha256 = 'aa'") == "a.mp4\n");
}

TEST_CASE("unit: a clip without a shot and one that cannot be read have readings that say so") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  tune::ClipRecord empty = session.setups[0].clips[0];
  empty.sha256 = "ee";
  empty.file = "empty.mp4";
  empty.reading.shots.clear();
  empty.reading.status = ClipStatus::no_shot;
  empty.reading.reason = "no arrow leaves";
  tune::ClipRecord broken = empty;
  broken.sha256.clear();
  broken.file = "broken.mp4";
  broken.reading.status = ClipStatus::error;
  broken.reading.reason = "not a video";
  session.setups[0].clips = {empty, broken};
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file,
            "SELECT file, shot_id, status, reason, focal_px FROM readings JOIN clips ON clips.id = "
            "clip_id WHERE shot_id IS NULL ORDER BY file") ==
        "broken.mp4|NULL|error|not a video|NULL\nempty.mp4|NULL|no-shot|no arrow leaves|1386.7\n");
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
}

TEST_CASE("unit: a session whose folder was moved is the same session") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  session.folder = (folder / "old place").string();
  fs::create_directory(session.folder);
  logbook.record(session, test::heron_judgement());

  tune::SessionRecord copy = session;  // the old folder is still there: a copy, another session
  copy.folder = (folder / "copy").string();
  logbook.record(copy, test::heron_judgement());
  CHECK(ask(file, "SELECT count(*) FROM sessions") == "2\n");

  fs::remove(session.folder);
  fs::create_directory(copy.folder);
  session.folder = (folder / "new place").string();
  CHECK(logbook.record(session, test::heron_judgement()).readings_added == 0);
  CHECK(ask(file, "SELECT count(*) FROM sessions") == "2\n");
  CHECK(ask(file, "SELECT count(*) FROM sessions WHERE folder LIKE '%new place'") == "1\n");
}

TEST_CASE("unit: a folder of one chosen clip is not the session moved") {
  // A merged logbook holds sessions whose folders are on another computer.
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  session.folder = "/nowhere/of/another/computer";
  logbook.record(session, test::heron_judgement());
  tune::SessionRecord chosen = session;
  chosen.folder = (folder / "best of").string();
  chosen.setups.resize(1);
  chosen.setups[0].clips.resize(1);
  logbook.record(chosen, test::heron_judgement());
  CHECK(ask(file, "SELECT count(*) FROM sessions") == "2\n");
  CHECK(ask(file,
            "SELECT count(*) FROM clips JOIN sessions ON sessions.id = session_id WHERE folder = "
            "'/nowhere/of/another/computer' AND present") == "4\n");
}

TEST_CASE("unit: a corrected fact corrects the set-up and its change") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  session.setups[1].facts.bow.nocking_point_m = session.setups[0].facts.bow.nocking_point_m;
  session.setups[1].facts.bow.string = "12 strands";
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file, "SELECT what, before_number, before_text, after_text FROM changes") ==
        "string|NULL|14 strands|12 strands\n");
}

TEST_CASE("unit: copied anew, a clip keeps the earliest time it was known by") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  Logbook logbook(file);
  tune::SessionRecord session = test::heron_session();
  logbook.record(session, test::heron_judgement());
  std::string& at = session.setups[0].clips[0].filmed_at_utc;
  const std::string kept = "SELECT filmed_at FROM clips WHERE sha256 = 'aa'";
  at = "2026-07-01T00:00:00Z";
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
  CHECK(ask(file, kept) == "2026-05-30T09:00:00Z\n");
  at = "2026-05-29T00:00:00Z";
  logbook.record(session, test::heron_judgement());
  CHECK(ask(file, kept) == "2026-05-29T00:00:00Z\n");
}

TEST_CASE("fault: names that are not UTF-8 are mended, not refused") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  tune::SessionRecord session = test::heron_session();
  session.setups[0].clips[0].file = "caf\xE9.mp4";  // Latin-1
  Logbook logbook(file);
  logbook.record(session, test::heron_judgement());
  CHECK(logbook.record(session, test::heron_judgement()).rows_changed == 0);
  CHECK(ask(file, "SELECT file FROM clips WHERE sha256 = 'aa'") == "caf\xEF\xBF\xBD.mp4\n");
}

TEST_CASE("fault: numbers that are none become NULL") {
  const test::Folder folder;
  const fs::path file = folder / "logbook.sqlite";
  tune::SessionJudgement judgement = test::heron_judgement();
  judgement.setups[0].lateral->u95_deg = std::numeric_limits<double>::infinity();
  judgement.setups[0].lateral->scatter_deg = std::numeric_limits<double>::quiet_NaN();
  Logbook logbook(file);
  logbook.record(test::heron_session(), judgement);
  CHECK(ask(file, "SELECT lateral_u95_deg, lateral_scatter_deg FROM verdicts LIMIT 1") ==
        "NULL|NULL\n");
  CHECK(logbook.record(test::heron_session(), judgement).rows_changed == 0);
}
