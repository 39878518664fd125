// Marking a clip by hand: what there is of it, its frames cut out and enlarged, what flight and
// reading marks would make, and keeping them.
#pragma once

#include <atomic>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>

#include "answer.hpp"
#include "board.hpp"
#include "frame_store.hpp"
#include "nocktrail/desk/session_output.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "target.hpp"

namespace nocktrail::serve {

class ByHand {
 public:
  ByHand(std::filesystem::path folder, const desk::OutputSettings& output, const Board& board);

  // All throw Refused, and BadInput for what was sent.

  // The clip, the stretch of it to be looked at, and what is marked in it.
  Answer about(const Target& target) const;
  // A part of one frame as JPEG. Asked for by whole numbers: `index`; `x`, `y`, `w`, `h`, the part
  // in pixels of the frame; `width`, that of the picture. For one thread at a time.
  Answer frame(const Target& target);
  // What marks that are sent make of the clip; nothing is kept.
  Answer try_marks(const std::string& body) const;
  // Keeps them, or puts those that are kept away; 409 where somebody else was first.
  Answer keep(const std::string& body) const;

  // What is being made is given up.
  void stop() { stop_ = true; }

 private:
  std::filesystem::path folder_;
  session::ReadSessionOptions options_;
  session::KeptMarks kept_;
  const Board& board_;
  FrameStore frames_;
  std::atomic<bool> stop_{false};
};

}  // namespace nocktrail::serve
