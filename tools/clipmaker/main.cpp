// nocktrail_clipmaker: renders clips of archery shots with known truth.
#include <fmt/core.h>
#include <fmt/ranges.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <fstream>
#include <memory>
#include <nlohmann/json.hpp>
#include <string>

#include "camera.hpp"
#include "encode.hpp"
#include "render.hpp"
#include "sampler.hpp"
#include "scene.hpp"
#include "selftest.hpp"
#include "sound.hpp"
#include "spec.hpp"
#include "truth.hpp"
#include "worlds.hpp"

namespace clipmaker {
namespace {

void write_json(const std::filesystem::path& file, const nlohmann::ordered_json& json) {
  std::ofstream out(file);
  out << json.dump(1) << '\n';
  if (!out) {
    throw std::runtime_error(fmt::format("cannot write {}", file.string()));
  }
}

// The bodies of a clip and its truth, for another renderer to draw.
void make_scene(const ClipSpec& spec, std::filesystem::path file, const std::string& command) {
  check(spec);
  const Renderer renderer(spec);
  file.replace_extension(".scene.json");
  write_json(file, scene_of(spec, renderer.camera(), renderer.flights().at(0), renderer.frames()));
  std::filesystem::path clip = file;
  clip.replace_extension().replace_extension(".mp4");
  std::filesystem::path truth = clip;
  truth.replace_extension(".truth.json");
  write_json(truth, truth_of(spec, clip.filename().string(), command, renderer.camera(),
                             renderer.flights(), renderer.frames()));
}

void make_clip(const ClipSpec& spec, const std::filesystem::path& clip, const std::string& command,
               int threads) {
  check(spec);
  Renderer renderer(spec);
  Encoder encoder(clip.string(), spec.picture, make_sound(spec, renderer.flights()), threads);
  std::unique_ptr<Renderer> elsewhere;
  for (int i = 0; i < renderer.frames(); ++i) {
    if (spec.cut_s > 0.0 && i >= spec.cut_s * spec.picture.fps) {
      if (!elsewhere) {
        ClipSpec other = spec;
        other.draw_arrow = other.draw_archer = false;
        other.range.texture_seed += 1;
        other.camera.pitch_deg += 5.0;
        other.seed += 1;
        elsewhere = std::make_unique<Renderer>(other);
      }
      encoder.write(elsewhere->stored(i));
    } else {
      encoder.write(renderer.stored(i));
    }
  }
  encoder.finish();
  std::filesystem::path truth = clip;
  truth.replace_extension(".truth.json");
  write_json(truth, truth_of(spec, clip.filename().string(), command, renderer.camera(),
                             renderer.flights(), renderer.frames()));
}

struct Options {
  std::string spec_file;
  std::string out = "clip.mp4";
  std::string size;
  std::string set_json;
  std::string shot_json;
  std::string stroke_file;
  std::string name;
  std::uint64_t seed = 0;
  std::uint64_t count = 1;
  std::uint64_t first = 0;
  int threads = 1;
  bool print_spec = false;
  bool self_test = false;
  bool scene = false;
  std::string profile = "bench";
  SampleOptions sample;
};

// Flags that overrule what a file or a draw gave.
void apply(const Options& o, ClipSpec& spec) {
  if (!o.size.empty()) {
    int w = 0;
    int h = 0;
    if (std::sscanf(o.size.c_str(), "%dx%d", &w, &h) != 2) {
      throw std::runtime_error(fmt::format("--size is \"{}\"; write it like 1920x1080", o.size));
    }
    spec.picture.width = w;
    spec.picture.height = h;
  }
  if (!o.set_json.empty()) {
    nlohmann::json whole = spec;
    whole.merge_patch(nlohmann::json::parse(o.set_json));
    spec = whole.get<ClipSpec>();
  }
  if (!o.shot_json.empty() && !spec.shots.empty()) {
    nlohmann::json whole = spec;
    whole["shots"][0].merge_patch(nlohmann::json::parse(o.shot_json));
    spec = whole.get<ClipSpec>();
  }
}

int run(int argc, char** argv) {
  Options o;
  CLI::App app(
      "Renders clips of archery shots filmed from behind the archer, with the truth beside.");
  app.set_help_flag("-h,--help", "Say what the options are");
  app.add_option("--spec", o.spec_file, "JSON file with the parameters of one clip");
  CLI::Option* random = app.add_option("--random", o.seed, "Draw the parameters from this seed");
  app.add_option("--n", o.count, "How many clips to draw");
  app.add_option("--first", o.first, "Index of the first");
  app.add_option("--out", o.out, "With --random: folder. Else: the clip's file");
  app.add_option("--size", o.size, "Stored size, like 1920x1080");
  app.add_option("--fps", o.sample.fps, "Capture rate");
  app.add_option("--look", o.sample.look, "1 or 2: which of the two worlds");
  app.add_option("--before", o.sample.before_s, "Seconds before the loose");
  app.add_option("--after", o.sample.after_s, "Seconds after the loose");
  app.add_option("--second-after", o.sample.second_after_s,
                 "A second shot this many seconds after the first loose (1.3 or more)");
  app.add_option("--kind", o.sample.kind, "What a clip shows: shot, let-down, ...");
  app.add_option("--world", o.sample.world,
                 fmt::format("One that departs from the drawn one: {}", fmt::join(worlds(), ", ")));
  app.add_option("--profile", o.profile, "Ranges of the draw: bench");
  app.add_option("--stroke", o.stroke_file,
                 "Simulated shot (`nocktrail effects --exit-state`) in place of the drawn one");
  app.add_option("--set", o.set_json, "JSON merged over the parameters, last of all");
  app.add_option("--shot", o.shot_json, "JSON merged over the first shot");
  app.add_option("--name", o.name, "With --random and one clip: its file name without ending");
  app.add_option("--threads", o.threads, "Threads of the encoder");
  app.add_flag("--print-spec", o.print_spec, "Print the parameters instead of rendering");
  app.add_flag("--scene", o.scene,
               "Write what is seen as bodies in space (NAME.scene.json) in place of a film");
  app.add_flag("--self-test", o.self_test, "Check the clip maker itself");
  CLI11_PARSE(app, argc, argv);

  if (o.self_test) {
    return self_test() == 0 ? 0 : 1;
  }
  if (!o.stroke_file.empty()) {
    o.sample.stroke = read_stroke(o.stroke_file);
  }
  if (random->count() > 0) {
    if (!o.print_spec) {
      std::filesystem::create_directories(o.out);
    }
    for (std::uint64_t i = o.first; i < o.first + o.count; ++i) {
      ClipSpec spec = sample(o.seed, i, o.sample);
      apply(o, spec);
      if (o.print_spec) {
        fmt::print("{}\n", nlohmann::json(spec).dump(1));
        continue;
      }
      std::string command = "nocktrail_clipmaker";
      for (int k = 1; k < argc; ++k) {
        const std::string word = argv[k];
        if (word == "--n" || word == "--first" || word == "--out" || word == "--threads" ||
            word == "--name") {
          ++k;
          continue;
        }
        command += word.find_first_of(" {\"") == std::string::npos ? fmt::format(" {}", word)
                                                                   : fmt::format(" '{}'", word);
      }
      command += fmt::format(" --first {} --n 1", i);
      const std::filesystem::path clip =
          std::filesystem::path(o.out) /
          (o.name.empty() ? fmt::format("clip-{}-{:04d}.mp4", o.seed, i) : o.name + ".mp4");
      if (o.scene) {
        make_scene(spec, clip, command);
      } else {
        make_clip(spec, clip, command, o.threads);
      }
    }
    return 0;
  }
  ClipSpec spec;
  if (!o.spec_file.empty()) {
    std::ifstream in(o.spec_file);
    if (!in) {
      throw std::runtime_error(fmt::format("cannot read {}", o.spec_file));
    }
    spec = nlohmann::json::parse(in).get<ClipSpec>();
  }
  if (o.sample.stroke) {
    set_bow_and_arrow(*o.sample.stroke, spec);
    for (ShotSpec& shot : spec.shots) {
      set_shot(*o.sample.stroke, spec, shot);
    }
  }
  apply(o, spec);
  if (o.print_spec) {
    fmt::print("{}\n", nlohmann::json(spec).dump(1));
    return 0;
  }
  make_clip(spec, o.out, "nocktrail_clipmaker --spec (the \"spec\" of this file)", o.threads);
  return 0;
}

}  // namespace
}  // namespace clipmaker

int main(int argc, char** argv) {
  try {
    return clipmaker::run(argc, argv);
  } catch (const std::exception& error) {
    fmt::print(stderr, "nocktrail_clipmaker: {}\n", error.what());
    return 1;
  }
}
