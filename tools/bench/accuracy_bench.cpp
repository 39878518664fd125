// Accuracy of `read` on clips of known truth: reads a folder of clips with NAME.truth.json beside
// NAME.mp4 and writes one CSV row per clip and a Markdown table. The truth is opened only after the
// reading is done; what an archer would tell the program (hand, cant, focal length, arrow length)
// is handed over as chosen with --tell.
#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>
#include <thread>

#include "accuracy_statistics.hpp"
#include "nocktrail/pipeline/read_clip.hpp"

namespace fs = std::filesystem;
using namespace nocktrail;
using bench::Row;

namespace {

nlohmann::json load(const fs::path& path) {
  std::ifstream file(path);
  return nlohmann::json::parse(file);
}

// What the archer believes, which in some worlds is not so.
double told(const nlohmann::json& truth, const char* what, const nlohmann::json& true_value) {
  return truth.value("told", nlohmann::json::object()).value(what, true_value.get<double>());
}

Row measure(const fs::path& clip, const std::string& tell, const fs::path& debug) {
  const fs::path truth_path = fs::path(clip).replace_extension(".truth.json");
  const nlohmann::json truth = load(truth_path);
  ReadClipOptions options;
  options.hand = truth.at("hand") == "left" ? Hand::left : Hand::right;
  if (tell.find('f') != std::string::npos) {
    options.focal_35mm = told(truth, "focal_35mm", truth.at("camera").at("focal_35mm"));
  }
  if (tell.find('l') != std::string::npos) {
    options.arrow_length_m = told(truth, "arrow_length_m", truth.at("arrow").at("arrow_length_m"));
  }
  if (tell.find('d') != std::string::npos) {
    options.target_distance_m = truth.at("conditions").at("butt_m").get<double>();
  }
  if (!debug.empty()) {
    options.debug_dir = debug / clip.stem();
  }
  const Reading reading = read_clip(clip, options);

  Row row;
  row.clip = clip.filename().string();
  row.world = clip.parent_path().filename().string();
  row.reason = reading.reason;
  row.measured = reading.status == ClipStatus::measured;
  row.refused = reading.status == ClipStatus::refused;
  row.measurable = truth.at("measurable").get<bool>();
  row.kind = truth.value("kind", "shot");
  bench::fill_conditions(row, truth);
  if (row.measurable) {
    const auto& shot = truth.at("shots").at(0);
    row.true_right = shot.at("nock_right_deg").get<double>();
    row.true_high = shot.at("nock_high_deg").get<double>();
    row.true_speed = shot.at("speed_mps").get<double>();
    row.true_exit_s = shot.at("exit_s").get<double>();
  }
  const auto measured = std::find_if(reading.shots.begin(), reading.shots.end(), [](const Shot& s) {
    return s.status == ShotStatus::measured;
  });
  if (measured != reading.shots.end()) {
    row.right = measured->nock_right_deg->value;
    row.right_u95 = measured->nock_right_deg->u95;
    row.high = measured->nock_high_deg->value;
    row.high_u95 = measured->nock_high_deg->u95;
    row.speed = measured->speed_mps->value;
    row.speed_u95 = measured->speed_mps->u95;
    row.exit_s = *measured->exit_s;
  }
  if (row.measurable) {
    const bench::Bound bound = bench::cramer_rao(truth, tell);
    row.bound_right = bound.right_deg;
    row.bound_high = bound.high_deg;
    row.ideal_right = bound.ideal_right_deg;
    row.ideal_high = bound.ideal_high_deg;
  }
  return row;
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Accuracy of the reading on clips of known truth");
  std::vector<fs::path> folders;
  fs::path csv;
  fs::path table;
  fs::path debug;
  std::string tell = "fl";
  int jobs = 2;
  app.add_option("folders", folders,
                 "Clips with NAME.truth.json beside NAME.mp4; each folder is a world")
      ->required();
  app.add_option("--csv", csv, "One row per clip");
  app.add_option("--table", table, "Markdown table");
  app.add_option("--tell", tell, "What the program is told: f focal length, l arrow length");
  app.add_option("--jobs", jobs, "Clips read at once");
  app.add_option("--debug", debug, "Folder for the stages' pictures");
  CLI11_PARSE(app, argc, argv);

  std::vector<fs::path> clips;
  for (const fs::path& folder : folders) {
    for (const auto& entry : fs::directory_iterator(folder)) {
      const std::string extension = entry.path().extension().string();
      if ((extension == ".mp4" || extension == ".mov") &&
          fs::exists(fs::path(entry.path()).replace_extension(".truth.json"))) {
        clips.push_back(entry.path());
      }
    }
  }
  std::sort(clips.begin(), clips.end());
  std::vector<Row> rows(clips.size());
  std::atomic<std::size_t> next{0};
  std::mutex out;
  cv::setNumThreads(jobs > 1 ? 1 : -1);
  std::vector<std::jthread> workers;
  for (int i = 0; i < jobs; ++i) {
    workers.emplace_back([&] {
      for (std::size_t k = next++; k < clips.size(); k = next++) {
        rows[k] = measure(clips[k], tell, debug);
        const std::lock_guard lock(out);
        std::cerr << bench::line_of(rows[k]) << '\n';
      }
    });
  }
  workers.clear();
  if (!csv.empty()) {
    std::ofstream(csv) << bench::csv_of(rows);
  }
  const std::string text = bench::table_of(rows);
  if (!table.empty()) {
    std::ofstream(table) << text;
  }
  std::cout << text;
  return 0;
}
