// `nocktrail read`: clips in, readings out.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/pipeline/read_clip.hpp"

namespace CLI {
class App;
}

namespace nocktrail::cli {

// The command line as it was written.
struct ReadArguments {
  std::string hand;
  std::string cant;
  std::string arrow_length;
  std::string target_distance;
  std::string speed;
  std::optional<double> focal_35mm;
  std::optional<double> capture_fps;
  double dead_band_deg = ReadClipOptions{}.dead_band_deg;
  std::string json;  // "-" is standard output
  std::string still;
  std::string debug;
  std::string marks;
  std::string into;
  bool quiet = false;
  std::vector<std::string> clips;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_read_command(CLI::App& program, ReadArguments& arguments);

// The options that say how a clip is read (hand, cant, arrow length, ...), for commands that read
// clips; and what they come to. The latter throws BadInput naming the option.
void add_reading_options(CLI::App& command, ReadArguments& arguments);
ReadClipOptions checked_reading_options(const ReadArguments& arguments);

// Reads the clips one after another and writes what was asked for; a clip that fails never stops
// the others. Returns the exit status. Throws BadInput for a value outside its range or an output
// that cannot be written.
int run_read(const ReadArguments& arguments);

}  // namespace nocktrail::cli
