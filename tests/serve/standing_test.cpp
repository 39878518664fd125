// What the pages say while what was judged last may no longer hold: nothing that forbids is
// missing, and no step that is not of all that is known is shown as the next.
#include "standing.hpp"

#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "nocktrail/session/kept_marks.hpp"
#include "served.hpp"
#include "view.hpp"

using namespace nocktrail;
using namespace nocktrail::serve;
using serve::test::Folder;
using serve::test::says;
namespace fs = std::filesystem;

namespace {

constexpr const char* kTooLight =
    "[bow]\ndraw_weight = \"45lb\"\nmin_grains_per_pound = 8\n[arrow]\ntotal_mass = \"200gr\"\n";

// Two set-ups, judged as straight on with a lighter tip.
struct Judged {
  Folder folder;
  Snapshot snapshot;
  Judged() {
    folder.write("session.toml", "hand = \"right\"\n");
    folder.write("1-a/setup.toml", "");
    folder.write("2-b/setup.toml", "");
    folder.write("1-a/IMG_7.MOV", "film");
    folder.write("2-b/IMG_7.MOV", "film");
    auto published = std::make_shared<Published>();
    for (const session::PlannedSetup& setup : session::load(folder.path()).setups) {
      published->record.setups.push_back({setup.name, setup.facts, {}});
      published->judgement.setups.emplace_back().name = setup.name;
      snapshot.done.insert(setup.clips.front().path);
    }
    published->judgement.next.kind = StepKind::lighter_tip;
    published->judgement.next.words = "Fit a tip 25 gr lighter.";
    published->json = {{"setups", nlohmann::json::array()}};
    snapshot.published = published;
  }
  Standing now() const { return standing(folder.path(), snapshot); }
  nlohmann::json line() const { return line_view(snapshot, now()); }
};

tune::ClipRecord clip(double right_deg) {
  tune::ClipRecord record;
  record.file = "IMG_7.MOV";
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.nock_right_deg = Measured{right_deg, 0.3};
  shot.nock_high_deg = Measured{0.2, 0.6};
  if (std::abs(right_deg) > 8.0) {
    shot.verdict.step = StepKind::do_not_shoot_arrow;
    shot.verdict.next_step = "Do not shoot this arrow: it trails 9.9 deg.";
  }
  record.reading.status = ClipStatus::measured;
  record.reading.shots = {shot};
  return record;
}

}  // namespace

TEST_CASE("rules: as judged, the step stands") {
  const Judged judged;
  CHECK_FALSE(judged.now().instead.has_value());
  CHECK(judged.line()["settled"] == true);
  CHECK(judged.line()["next"]["words"] == "Fit a tip 25 gr lighter.");
}

TEST_CASE(
    "rules: a shot that was read just now forbids by itself; else the old step is not shown") {
  Judged judged;
  judged.snapshot.fresh.emplace_back("2-b", clip(1.0));
  CHECK(judged.line()["settled"] == false);
  CHECK(judged.line()["next"]["kind"] == "none");
  CHECK(says(judged.line()["next"]["words"].get<std::string>(), "being judged"));
  // Of an earlier set-up it stands at that one: what is being shot may be another arrow.
  judged.snapshot.fresh.emplace_back("1-a", clip(9.9));
  CHECK(judged.line()["next"]["forbids"] == false);
  CHECK(judged.line()["settled"] == false);
  CHECK(judged.now().stops.at("1-a").size() == 1);
  CHECK(judged.now().stops.at("2-b").empty());
  CHECK(says(shot_view(judged.snapshot, judged.now(), "1-a", "IMG_7.MOV")["stop"].dump(), "9.9"));
  // Of the latest it is the step, though others are still coming in.
  judged.snapshot.fresh[0].second = clip(-9.9);
  CHECK(judged.line()["next"]["forbids"] == true);
  CHECK(judged.line()["settled"] == true);
  CHECK(session_view(judged.snapshot, judged.now())["next"]["kind"] == "do-not-shoot-arrow");
  // Left out since, it forbids nothing; nor do marks that do not count, nor a clip that is gone.
  judged.folder.write("2-b/setup.toml", "[clip.\"IMG_7.MOV\"]\ndrop = \"struck the limb\"\n");
  CHECK(judged.line()["next"]["forbids"] == false);
  judged.folder.write("2-b/setup.toml", "");
  CHECK(judged.line()["next"]["forbids"] == true);
  judged.snapshot.fresh[0].second.dropped = session::kMarksDoNotCount;
  CHECK(judged.line()["next"]["forbids"] == false);
  judged.snapshot.fresh[0].second.dropped.clear();
  fs::remove(judged.folder / "2-b/IMG_7.MOV");
  CHECK(judged.line()["next"]["forbids"] == false);
}

TEST_CASE("rules: of a folder that is away no step is shown, and what forbade stays") {
  Judged judged;
  const fs::path away = judged.folder.path().string() + "-away";
  fs::rename(judged.folder.path(), away);
  CHECK(judged.line()["settled"] == false);
  CHECK(judged.line()["next"]["kind"] == "none");
  auto published = std::make_shared<Published>(*judged.snapshot.published);
  published->judgement.next.kind = StepKind::do_not_shoot_arrow;
  judged.snapshot.published = published;
  CHECK(judged.line()["next"]["forbids"] == true);
  fs::rename(away, judged.folder.path());
}

TEST_CASE("rules: what cannot be written is said, and nothing old is advised meanwhile") {
  Judged judged;
  judged.snapshot.hindered = "logbook.sqlite: is locked";
  CHECK(judged.line()["settled"] == false);
  CHECK(says(judged.line()["next"]["words"].get<std::string>(), "nothing new is judged"));
  CHECK(judged.line()["hindered"] == "logbook.sqlite: is locked");
}

TEST_CASE("rules: a slip in one file hides no limit that another one passes") {
  const Judged judged;
  judged.folder.write("1-a/setup.toml", "foo = 3\n");
  CHECK(judged.line()["next"]["kind"] == "none");
  judged.folder.write("2-b/setup.toml", kTooLight);
  CHECK(judged.line()["next"]["kind"] == "do-not-shoot-arrow");
  CHECK(judged.now().stops.at("2-b").size() == 1);
  // Of an earlier set-up it stands at that set-up.
  judged.folder.write("1-a/setup.toml", kTooLight);
  judged.folder.write("2-b/setup.toml", "[arrow]\ntotal_mass = \"400gr\"\nfoo = 3\n");
  CHECK(judged.now().stops.at("1-a").size() == 1);
}

TEST_CASE("rules: what forbade before the program was started anew forbids until it is judged") {
  const Judged judged;
  const auto begun = [&] {
    const Board board(judged.folder.path(), "", [](const auto&, const auto&) {});
    const Snapshot snapshot = board.snapshot();
    return line_view(snapshot, standing(judged.folder.path(), snapshot));
  };
  judged.folder.write("nocktrail-results/session.json",
                      R"({"schema": "nocktrail.session/2", "setups": [{"name": "1-a", "stops":
      ["Do not shoot this arrow: it trails 9.2 deg."]}], "next": {"kind": "do-not-shoot-arrow",
      "words": "Do not shoot this arrow: it trails 9.2 deg.", "because": "Measured."}})");
  CHECK(begun()["next"]["forbids"] == true);
  CHECK(says(begun()["next"]["words"].get<std::string>(), "9.2"));
  judged.folder.write("2-b/setup.toml", "foo = 3\n");
  CHECK(begun()["next"]["forbids"] == true);
  // A step of then is none of now.
  judged.folder.write("nocktrail-results/session.json",
                      R"({"schema": "nocktrail.session/2", "setups": [], "next": {"kind":
      "trim-shaft", "words": "Trim 1/8 in.", "because": "x"}})");
  CHECK(begun()["next"]["kind"] == "none");
  CHECK(begun()["settled"] == false);
  for (const char* odd : {"", "[]", "{\"schema\": 7}", "{\"schema\": \"nocktrail.session/2\"}",
                          R"({"schema": "nocktrail.session/2", "setups": [1, {"stops": 2}], "next":
                          {"kind": 5}})"}) {
    judged.folder.write("nocktrail-results/session.json", odd);
    CHECK(begun()["next"]["forbids"] == false);
  }
}
