#include "frame_store.hpp"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <utility>

#include "refused.hpp"

namespace nocktrail::serve {
namespace {

namespace fs = std::filesystem;

// Of a file that was replaced no frame is to be shown.
std::string stamp_of(const fs::path& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) {
    return {};
  }
  return fmt::format("{} {}.{} {}:{}", status.st_size, status.st_ctim.tv_sec,
                     status.st_ctim.tv_nsec, status.st_dev, status.st_ino);
}

}  // namespace

// How many frames of the clip are kept: one byte and a half for each pixel.
std::size_t FrameStore::room(const Open& open) const {
  const auto& info = open.clip.info();
  const std::size_t bytes = static_cast<std::size_t>(info.width) *
                            static_cast<std::size_t>(std::max(info.height, 1)) * 3 / 2;
  return std::max<std::size_t>(4, options_.most_bytes / std::max<std::size_t>(bytes, 1));
}

FrameStore::Open& FrameStore::opened(const fs::path& path) {
  const std::string stamp = stamp_of(path);
  const auto known = std::find_if(open_.begin(), open_.end(), [&](const Open& one) {
    return one.path == path && one.stamp == stamp;
  });
  if (known != open_.end()) {
    open_.splice(open_.begin(), open_, known);
    return open_.front();
  }
  open_.remove_if([&](const Open& one) { return one.path == path; });
  open_.push_front({path, stamp, media::Clip::open(path), 0, {}});
  if (open_.size() > options_.most_clips) {
    open_.pop_back();
  }
  return open_.front();
}

media::Frame FrameStore::at(const fs::path& path, long index, const std::atomic<bool>& stop) {
  Open& open = opened(path);
  if (index < 0 || index >= static_cast<long>(open.clip.info().frame_t_s.size())) {
    throw Refused(404, "there is no such frame in the clip");
  }
  auto found = open.frames.find(index);
  if (found == open.frames.end()) {
    decode(open, index, stop);
    found = open.frames.find(index);
  }
  if (found == open.frames.end()) {
    throw Refused(404, "this frame cannot be decoded; take the one beside it");
  }
  return found->second;
}

void FrameStore::decode(Open& open, long index, const std::atomic<bool>& stop) const {
  const media::ReadOptions colour{.chroma = true, .shrink = 1, .fast = false};
  const std::size_t room_for = room(open);
  const bool ahead = open.next > 0 && index >= open.next && index - open.next < options_.read_on;
  if (!ahead) {
    // Whoever asks for one behind goes on backward: those before it are on the way.
    const long from =
        std::max(0L, index - std::min(options_.behind, static_cast<long>(room_for) / 2));
    open.clip.seek(from, colour);
    open.next = from;
  }
  const auto end = std::chrono::steady_clock::now() + options_.patience;
  media::Frame frame;
  do {
    if (stop || std::chrono::steady_clock::now() > end) {
      open.next = 0;
      throw Refused(503, "this frame takes too long to reach; go there in smaller steps");
    }
    if (!open.clip.next(frame)) {
      open.next = 0;
      return;
    }
    open.next = frame.index + 1;
    open.frames[frame.index] = frame;  // copies headers: its memory is not used again
    while (open.frames.size() > room_for) {
      const bool first_is_farther =
          frame.index - open.frames.begin()->first > open.frames.rbegin()->first - frame.index;
      open.frames.erase(first_is_farther ? open.frames.begin() : std::prev(open.frames.end()));
    }
  } while (frame.index < index);
}

}  // namespace nocktrail::serve
