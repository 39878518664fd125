// What the parts of a connection share: work that is done in another thread and handed back.
#pragma once

#include <boost/asio/post.hpp>
#include <functional>
#include <limits>
#include <memory>
#include <utility>

#include "connection.hpp"
#include "nocktrail/error.hpp"

namespace nocktrail::serve {

// Incoming has its own. (Beast's word for none, boost::none, is less than any length in 1.74.)
inline constexpr std::uint64_t kAnyBody = std::numeric_limits<std::uint64_t>::max();
// A request, or the next part of a clip, must come within so long; a page sends a clip again.
inline constexpr std::chrono::seconds kStalled{60};

// Runs `work` and returns its answer, or what a refusal or a fault says.
inline Answer answered(const std::function<Answer()>& work) {
  try {
    return work();
  } catch (const Refused& refused) {
    return {refused.status(), "application/json", error_body(refused.what()), false};
  } catch (const BadInput& problem) {
    return {500, "application/json", error_body(problem.what()), false};
  } catch (const std::exception&) {
    return {500, "application/json", error_body("a fault in the program itself"), false};
  }
}

// Back from a pool to the network's thread, which alone may hold a connection last.
template <typename Then>
void Connection::hand_back(std::shared_ptr<Connection> self, Then then) {
  boost::asio::io_context& io = self->hub_.io;
  boost::asio::post(io,
                    [self = std::move(self), then = std::move(then)]() mutable { then(*self); });
}

}  // namespace nocktrail::serve
