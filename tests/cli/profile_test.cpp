// What an archer wrote once: the file that is made, what is understood of it, and what a reading
// says of where its facts are from.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "program.hpp"

using namespace nocktrail::cli::test;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("unit: profile makes its file once, shows it, and never writes over it") {
  const Folder home;
  const fs::path config = home / "config";
  CHECK(says(run_program("profile", config).out, "No profile yet"));
  const Ran made = run_program("profile --template", config);
  CHECK(made.status == 0);
  const fs::path file = config / "nocktrail/profile.toml";
  REQUIRE(fs::exists(file));
  // Everything in it is a comment, and nothing in it a slip.
  const Ran empty = run_program("profile", config);
  CHECK(empty.status == 0);
  CHECK(says(empty.out, "tells nothing yet"));

  std::ofstream(file) << "hand = \"left\"\n[arrow]\narrow_length = \"31in\"\n";
  const std::string before = content(file);
  const Ran again = run_program("profile --template", config);
  CHECK(again.status == 2);
  CHECK(says(again.err, "is there already"));
  CHECK(content(file) == before);
  const Ran shown = run_program("profile", config);
  CHECK(says(shown.out, "Hand: left-handed"));
  CHECK(says(shown.out, "31 in"));

  // Nor does any other command.
  const Ran over = run_program(fmt::format("read --json '{}' none.mp4", file.string()), config);
  CHECK(over.status == 2);
  CHECK(content(file) == before);

  std::ofstream(file) << "hnad = \"left\"\n";
  const Ran slip = run_program("profile", config);
  CHECK(slip.status == 2);
  CHECK(says(slip.err, "did you mean hand"));
}

TEST_CASE("unit: a reading says which fact is told, of the folder's files and of the profile") {
  const Folder home;
  const fs::path config = home / "config";
  fs::create_directories(config / "nocktrail");
  std::ofstream(config / "nocktrail/profile.toml")
      << "hand = \"right\"\ncant = 14\n[arrow]\narrow_length = \"31in\"\n[camera]\nphone = "
         "\"pocket\"\n";
  std::ofstream(config / "nocktrail/phones.toml") << "[\"pocket\"]\nfocal_35mm = 27\n";
  const fs::path clip = home / "shot.mp4";
  fs::copy_file(fs::path(NOCKTRAIL_TEST_CLIPS) / "let-down.mp4", clip);
  const auto read = [&](const std::string& told) {
    return run_program(fmt::format("read {} '{}'", told, clip.string()), config).out;
  };
  CHECK(says(read(""), "right hand (your profile)"));
  CHECK(says(read(""), "focal length 27 mm (your profile)"));
  CHECK(says(read("--hand left"), "left hand (told)"));
  std::ofstream(home / "session.toml") << "cant = 5\n[camera]\nphone = \"pocket\"\n";
  const std::string in_session = read("");
  CHECK(says(in_session, "right hand (your profile)"));
  CHECK(says(in_session, "cant 5 deg (the folder's files)"));
  CHECK(says(in_session, "focal length 27 mm (the folder's files)"));

  // For scripts, too.
  const nlohmann::json document = nlohmann::json::parse(read("--arrow-length 30in --json -"));
  const nlohmann::json& with = document["read_with"];
  CHECK(with["hand"] == nlohmann::json{{"value", "right"}, {"from", "profile"}});
  CHECK(with["cant_deg"] == nlohmann::json{{"value", 5.0}, {"from", "folder"}});
  CHECK(with["arrow_length_m"]["from"] == "told");
  CHECK(with["arrow_length_m"]["value"].get<double>() == doctest::Approx(0.762));
  CHECK_FALSE(with.contains("capture_fps"));
}

// 180 gr on 45 lb: 4 grains a pound, below the trade's absolute floor of 5 (common practice).
TEST_CASE("rules: an arrow told on the command line is not judged by the mass of the profile's") {
  const Folder home;
  const fs::path config = home / "config";
  fs::create_directories(config / "nocktrail");
  std::ofstream(config / "nocktrail/profile.toml")
      << "hand = \"right\"\n[bow]\ndraw_weight = \"45lb\"\n[arrow]\ntotal_mass = \"180gr\"\n";
  const std::string clip = (fs::path(NOCKTRAIL_TEST_CLIPS) / "let-down.mp4").string();
  CHECK(says(run_program(fmt::format("read '{}'", clip), config).out, "Do not shoot this arrow"));
  CHECK_FALSE(says(run_program(fmt::format("read --arrow-length 30in '{}'", clip), config).out,
                   "Do not shoot"));
}
