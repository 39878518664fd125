#include "parts.hpp"

#include <algorithm>
#include <utility>

namespace nocktrail::serve {

bool Parts::is_name(const std::string& upload) {
  return upload.size() >= 16 && upload.size() <= 64 &&
         upload.find_first_not_of("0123456789abcdef") == std::string::npos;
}

void Parts::put(const std::string& upload, std::unique_ptr<Incoming> part) {
  take(upload).reset();
  while (parts_.size() >= limits_.most) {
    parts_.pop_front();
  }
  part->rest();
  parts_.push_back({upload, std::move(part), std::chrono::steady_clock::now()});
}

std::unique_ptr<Incoming> Parts::take(const std::string& upload) {
  const auto found = std::find_if(parts_.begin(), parts_.end(),
                                  [&](const Part& one) { return one.upload == upload; });
  if (found == parts_.end()) {
    return nullptr;
  }
  std::unique_ptr<Incoming> part = std::move(found->incoming);
  parts_.erase(found);
  return part;
}

const Incoming* Parts::look(const std::string& upload) const {
  const auto found = std::find_if(parts_.begin(), parts_.end(),
                                  [&](const Part& one) { return one.upload == upload; });
  return found == parts_.end() ? nullptr : found->incoming.get();
}

void Parts::note_kept(const std::string& upload, const std::string& body) {
  if (kept_.size() >= limits_.most_kept) {
    kept_.pop_front();
  }
  kept_.emplace_back(upload, body);
}

const std::string* Parts::kept(const std::string& upload) const {
  const auto found = std::find_if(kept_.begin(), kept_.end(),
                                  [&](const auto& one) { return one.first == upload; });
  return found == kept_.end() ? nullptr : &found->second;
}

void Parts::drop_stale(std::chrono::steady_clock::time_point now) {
  std::erase_if(parts_, [&](const Part& one) { return now - one.since > limits_.longest; });
}

}  // namespace nocktrail::serve
