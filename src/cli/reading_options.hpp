// The options that say how a clip is read (hand, cant, arrow length, ...), for every command that
// reads clips.
#pragma once

#include <optional>
#include <string>

#include "nocktrail/pipeline/read_clip.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

// As they were written.
struct ReadingArguments {
  std::string hand;
  std::string cant;
  std::string arrow_length;
  std::string target_distance;
  std::string speed;
  std::string view;
  std::string picture_width;
  std::optional<double> focal_35mm;
  std::optional<double> capture_fps;
  double dead_band_deg = ReadClipOptions{}.dead_band_deg;
};

// Binds them to `arguments`, which must outlive the parse.
void add_reading_options(CLI::App& command, ReadingArguments& arguments);
// What they come to. Throws BadInput naming the option.
ReadClipOptions checked_reading_options(const ReadingArguments& arguments);

// Whether the command line tells anything that a clip is read with: a reading made without it does
// not fit then.
bool tells_facts(const ReadClipOptions& options);

}  // namespace nocktrail::cli
