// A clip comes in over a connection.
#include <algorithm>
#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/http/read.hpp>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "asked.hpp"
#include "connection.hpp"
#include "connection_work.hpp"

namespace nocktrail::serve {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using ErrorCode = boost::system::error_code;

// What is handed to the disk at once: on a busy machine the way there and back takes longer than
// the writing.
constexpr std::size_t kPart = std::size_t{1} << 20U;
// Between two questions of a page without a byte having come: that way is gone.
constexpr std::chrono::milliseconds kSilent{1500};

}  // namespace

void Connection::receive() {
  if (!head_->content_length()) {
    return refuse(411, "send the clip with its length");
  }
  upload_ = target_.value("upload");
  try {
    from_ = target_.value("from").empty()
                ? 0
                : static_cast<std::uint64_t>(
                      target_.number("from", 0, std::numeric_limits<std::int64_t>::max() / 2));
  } catch (const Refused& problem) {
    return refuse(problem.status(), problem.what());
  }
  if ((!upload_.empty() && !Parts::is_name(upload_)) || (from_ > 0 && upload_.empty())) {
    upload_.clear();
    return refuse(400, "this is no name of an upload");
  }
  if (hub_.incoming >= hub_.most_incoming) {
    return refuse(503, "other clips are coming in; send this one again in a moment");
  }
  if (!upload_.empty()) {
    const std::shared_ptr<Connection> other = hub_.uploads[upload_].lock();
    if (other && other.get() != this) {
      upload_.clear();
      return refuse(503, "this clip is coming in already; again in a moment");
    }
    hub_.uploads[upload_] = weak_from_this();
    incoming_ = hub_.parts.take(upload_);
  }
  if (from_ > 0 && (!incoming_ || incoming_->taken() < from_)) {
    return refuse(409, "what came of this clip is not here any more; send it from its beginning");
  }
  if (from_ == 0) {
    incoming_.reset();
  }
  ++hub_.incoming;
  counted_ = true;
  begin_receiving();
}

// What is here of an upload, so that its page can go on with it. One that still seems to come in
// over another connection is left to it while anything comes; one that is silent is cut off, since
// its page went another way.
void Connection::tell_upload() {
  const std::string upload = target_.value("upload");
  const auto found = hub_.uploads.find(upload);
  if (const auto other = found == hub_.uploads.end() ? nullptr : found->second.lock()) {
    const auto now = std::chrono::steady_clock::now();
    if (other->told_ != other->progress()) {
      other->told_ = other->progress();
      other->told_at_ = now;
    } else if (now - other->told_at_ > kSilent) {
      other->close();
    }
    return refuse(503, "this clip is still coming in; ask again in a moment");
  }
  nlohmann::json told = {{"have", 0}, {"tail", ""}, {"kept", nullptr}};
  if (const Incoming* part = hub_.parts.look(upload)) {
    told["have"] = part->taken();
    told["tail"] = part->tail_hex();
  } else if (const std::string* kept = hub_.parts.kept(upload)) {
    told["kept"] = nlohmann::json::parse(*kept);
  }
  answer({200, "application/json", dumped(told)});
}

void Connection::begin_receiving() {
  const std::uint64_t size = *head_->content_length();
  asio::post(hub_.writers, [self = shared_from_this(), size]() mutable {
    Answer outcome = answered([&] {
      if (self->incoming_) {
        self->incoming_->go_on(self->from_, self->from_ + size, self->hub_.limits);
      } else {
        self->incoming_ =
            std::make_unique<Incoming>(self->hub_.folder, self->target_.value("name"),
                                       self->target_.value("setup"), size, self->hub_.limits);
      }
      return Answer{};
    });
    hand_back(std::move(self), [outcome = std::move(outcome)](Connection& own) mutable {
      if (outcome.status == 507 && !own.hub_.parts.empty()) {
        own.hub_.parts.clear();  // what nobody may come back for makes room
        return own.begin_receiving();
      }
      if (outcome.status != 200) {
        return own.answer(std::move(outcome));
      }
      own.parts_ = 0;
      own.told_.reset();
      own.large_.emplace(std::move(*own.head_));
      own.large_->body_limit(kAnyBody);
      own.part_.resize(kPart);
      own.continue_100();
    });
  });
}

// Whoever sends much asks first whether it is wanted (RFC 9110, 10.1.1).
void Connection::continue_100() {
  if (!beast::iequals(large_->get()[http::field::expect], "100-continue")) {
    return read_part();
  }
  static constexpr std::string_view kContinue = "HTTP/1.1 100 Continue\r\n\r\n";
  asio::async_write(stream_, asio::buffer(kContinue),
                    [self = shared_from_this()](ErrorCode error, std::size_t) {
                      if (!error) {
                        self->read_part();
                      }
                    });
}

void Connection::read_part() {
  if (large_->is_done()) {
    return keep();
  }
  parts_ += part_.size() - large_->get().body().size;
  large_->get().body().data = part_.data();
  large_->get().body().size = part_.size();
  large_->get().body().more = true;
  stream_.expires_after(kStalled);
  http::async_read(stream_, buffer_, *large_,
                   [self = shared_from_this()](ErrorCode error, std::size_t) {
                     if (error && error != http::error::need_buffer) {
                       return self->cut_off(self->part_.size() - self->large_->get().body().size);
                     }
                     self->write_part(self->part_.size() - self->large_->get().body().size);
                   });
}

std::uint64_t Connection::progress() const {
  return large_ ? parts_ + (part_.size() - large_->get().body().size) : 0;
}

// What came last is kept too, for the page to go on with.
void Connection::cut_off(std::size_t bytes) {
  if (upload_.empty() || bytes == 0) {
    end_receiving(false);
    return close();
  }
  asio::post(hub_.writers, [self = shared_from_this(), bytes]() mutable {
    answered([&] {
      self->incoming_->take({self->part_.data(), bytes});
      return Answer{};
    });
    hand_back(std::move(self), [](Connection& own) {
      own.end_receiving(false);
      own.close();
    });
  });
}

void Connection::write_part(std::size_t bytes) {
  if (bytes == 0) {
    return read_part();
  }
  asio::post(hub_.writers, [self = shared_from_this(), bytes]() mutable {
    Answer outcome = answered([&] {
      self->incoming_->take({self->part_.data(), bytes});
      return Answer{};
    });
    hand_back(std::move(self), [outcome = std::move(outcome)](Connection& own) mutable {
      if (outcome.status != 200) {
        return own.answer(std::move(outcome));
      }
      own.read_part();
    });
  });
}

void Connection::keep() {
  asio::post(hub_.changes, [self = shared_from_this()]() mutable {
    Answer outcome = answered([&] {
      const Kept kept = self->incoming_->keep();
      self->whole_ = true;
      return Answer{kept.known ? 200 : 201, "application/json", kept_body(kept), false};
    });
    hand_back(std::move(self), [outcome = std::move(outcome)](Connection& own) mutable {
      if (own.whole_ && !own.upload_.empty()) {
        own.hub_.parts.note_kept(own.upload_, outcome.body);
      }
      own.answer(std::move(outcome));
    });
  });
}

// An upload that has a name is kept for its page to go on with, unless it was refused for good.
void Connection::end_receiving(bool refused) {
  if (counted_) {
    --hub_.incoming;
    counted_ = false;
  }
  if (!upload_.empty()) {
    if (incoming_ && !whole_ && !refused && incoming_->taken() > 0) {
      hub_.parts.put(upload_, std::move(incoming_));
    }
    const auto found = hub_.uploads.find(upload_);
    if (found != hub_.uploads.end()) {
      const std::shared_ptr<Connection> holder = found->second.lock();
      if (!holder || holder.get() == this) {
        hub_.uploads.erase(found);
      }
    }
    upload_.clear();
  }
  incoming_.reset();
  whole_ = false;
}

}  // namespace nocktrail::serve
