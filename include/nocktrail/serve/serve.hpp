// A session's folder served to a phone: the same loop and results as `watch`, with pages that send
// clips, show the newest verdict and leave shots out. docs/serve.md has the requests and what keeps
// strangers out.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "nocktrail/desk/watcher.hpp"

namespace nocktrail::serve {

struct ServeSettings {
  bool lan = false;  // on the addresses of the local network too; else on 127.0.0.1 alone
  int port = 0;      // 0: one that is free
};

// Where it is to be reached; each carries the secret of this run.
struct Ready {
  std::string url;                  // of the local network, where it is served there
  std::vector<std::string> others;  // further addresses of the same, this computer's own last
  bool lan = false;
  // Only those in a private network can be reached from no farther away.
  bool are_private = true;
};

// Serves until `voice.stop` says so; `ready` is told once, before anything is read. The voice and
// the events are those of a Watcher, which runs in the calling thread. Throws BadInput for what a
// Watcher refuses, for a port that is taken, and for `lan` on a machine without a network.
void serve(const std::filesystem::path& folder, const desk::OutputSettings& output,
           const desk::WatchSettings& watch, const ServeSettings& settings,
           const desk::Voice& voice, const desk::WatchEvents& events,
           const std::function<void(const Ready&)>& ready);

// The address as a QR code (ISO/IEC 18004) of half blocks, two rows of squares to a line. In
// colours of its own for a terminal (`coloured`), else light squares printed, for a dark ground.
std::string qr_code(const std::string& text, bool coloured);

}  // namespace nocktrail::serve
