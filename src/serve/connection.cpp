#include "connection.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/asio/post.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/http/write.hpp>
#include <functional>
#include <utility>

#include "byte_range.hpp"
#include "connection_work.hpp"
#include "nocktrail/error.hpp"

namespace nocktrail::serve {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = beast::http;
using std::chrono::seconds;
using ErrorCode = boost::system::error_code;

constexpr std::uint32_t kLongestHead = 16384;
constexpr std::uint64_t kLargestSmallBody = 65536;
constexpr std::size_t kBuffer = std::size_t{1} << 18U;
// A connection is kept this long for its next request; a phone opens another at need.
constexpr seconds kIdle{60};
constexpr seconds kSending{60};
// What is still on its way when a request is refused is read away for a while: closing at once
// would take the answer back (RFC 9112, 9.6).
constexpr seconds kDraining{3};
constexpr std::size_t kMostDrained = std::size_t{64} << 20U;
// Events that a page did not take: it sleeps, and asks anew when it wakes.
constexpr std::size_t kMostPushed = 64;

constexpr const char* kPagePolicy =
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; media-src "
    "'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
// The report has its style and pictures inside it, and no script.
constexpr const char* kReportPolicy =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action "
    "'none'; frame-ancestors 'none'";

std::string_view view(boost::beast::string_view text) {
  return {text.data(), text.size()};
}

}  // namespace

Connection::Connection(asio::ip::tcp::socket socket, Hub& hub)
    : stream_(std::move(socket)), hub_(hub), buffer_(kBuffer) {}

Connection::~Connection() {
  end_receiving(false);
}

void Connection::close() {
  stream_.close();
}

void Connection::read_request() {
  large_.reset();
  small_.reset();
  response_.reset();
  set_cookie_ = false;
  head_.emplace();
  head_->header_limit(kLongestHead);
  head_->body_limit(kAnyBody);  // by what the request is, below
  idle_ = true;
  since_ = std::chrono::steady_clock::now();
  stream_.expires_after(kIdle);
  http::async_read_header(stream_, buffer_, *head_,
                          [self = shared_from_this()](ErrorCode error, std::size_t) {
                            self->idle_ = false;
                            if (error) {
                              return self->close();
                            }
                            self->judge_request();
                          });
}

bool Connection::admitted() const {
  const auto& request = head_->get();
  // Two of a header are one too many: which of them counts differs from reader to reader.
  for (const char* name : {"Host", "X-Nocktrail-Key", "Origin"}) {
    if (request.count(name) > 1) {
      return false;
    }
  }
  const std::string key = target_.path == "/" ? target_.value("key") : std::string();
  Presented presented;
  presented.get = request.method() == http::verb::get;
  presented.host = view(request[http::field::host]);
  presented.origin = view(request[http::field::origin]);
  presented.key = view(request["X-Nocktrail-Key"]);
  presented.cookie = view(request[http::field::cookie]);
  presented.query_key = key;
  return hub_.gate->admits(presented);
}

void Connection::judge_request() {
  stream_.expires_after(kStalled);
  try {
    target_ = Target::parse(view(head_->get().target()));
  } catch (const Refused&) {
    return refuse_silently();
  }
  if (!admitted()) {
    return refuse_silently();
  }
  set_cookie_ = target_.path == "/" && !target_.value("key").empty();
  serve_request();
}

void Connection::serve_request() {
  const http::verb method = head_->get().method();
  if (method == http::verb::post && target_.path == "/api/clips") {
    return receive();
  }
  if (method == http::verb::get && target_.path == "/api/events") {
    return stream();
  }
  if (method != http::verb::get && method != http::verb::post) {
    return refuse(405, "this address takes GET and POST alone");
  }
  read_small_body();
}

void Connection::read_small_body() {
  if (head_->content_length().value_or(0) > kLargestSmallBody) {
    return refuse(413, "that is too much");
  }
  small_.emplace(std::move(*head_));
  small_->body_limit(kLargestSmallBody);
  http::async_read(stream_, buffer_, *small_,
                   [self = shared_from_this()](ErrorCode error, std::size_t) {
                     if (error == http::error::body_limit) {
                       return self->refuse(413, "that is too much");
                     }
                     if (error) {
                       return self->close();
                     }
                     if (self->small_->get().method() == http::verb::get) {
                       self->look_up();
                     } else {
                       self->make_change();
                     }
                   });
}

void Connection::look_up() {
  if (target_.path == "/api/frame") {
    return work(hub_.frames, &hub_.frames_asked);
  }
  if (target_.path == "/api/upload") {
    return tell_upload();
  }
  if (target_.path == "/replay") {
    return work(hub_.trials, &hub_.marks_tried);
  }
  work(hub_.lookups, nullptr);
}

void Connection::make_change() {
  if (target_.path == "/api/try-marks") {
    return work(hub_.trials, &hub_.marks_tried);
  }
  work(hub_.changes, nullptr);
}

// `waiting`: how many are in that pool, where it takes no more than some.
void Connection::work(asio::thread_pool& pool, std::size_t* waiting) {
  if (waiting != nullptr && ++*waiting > hub_.most_waiting) {
    --*waiting;
    return refuse(503, "too much was asked at once; again in a moment");
  }
  asio::post(pool, [self = shared_from_this(), waiting]() mutable {
    Answer made = answered([&] {
      const auto& request = self->small_->get();
      return request.method() == http::verb::get
                 ? self->hub_.answers->get(self->target_)
                 : self->hub_.answers->post(self->target_, request.body());
    });
    hand_back(std::move(self), [made = std::move(made), waiting](Connection& own) mutable {
      if (waiting != nullptr) {
        --*waiting;
      }
      own.answer(std::move(made));
    });
  });
}

// --- an open page ------------------------------------------------------------------------------

void Connection::stream() {
  const auto gone = [](const auto& one) { return one.expired(); };
  hub_.streams.erase(std::remove_if(hub_.streams.begin(), hub_.streams.end(), gone),
                     hub_.streams.end());
  if (hub_.streams.size() >= hub_.most_streams) {
    return refuse(503, "too many pages are open; close some");
  }
  streaming_ = true;
  hub_.streams.push_back(weak_from_this());
  // Without a length: it goes on until one of the two leaves (HTML standard, server-sent events).
  push(std::make_shared<const std::string>(
      "HTTP/1.1 200 OK\r\nContent-Type: text/event-stream\r\nCache-Control: no-store\r\n"
      "X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nConnection: close\r\n\r\n"
      "retry: 1000\n\n"));
  watch_stream();
}

// Nothing more is expected from the page but that it leaves.
void Connection::watch_stream() {
  part_.resize(256);
  stream_.expires_never();
  stream_.async_read_some(asio::buffer(part_),
                          [self = shared_from_this()](ErrorCode error, std::size_t) {
                            if (error) {
                              return self->close();
                            }
                            self->watch_stream();
                          });
}

void Connection::push(const std::shared_ptr<const std::string>& text) {
  if (pushed_.size() >= kMostPushed) {
    return close();
  }
  pushed_.push_back(text);
  if (!writing_) {
    write_stream();
  }
}

void Connection::write_stream() {
  writing_ = true;
  stream_.expires_after(kStalled);
  asio::async_write(stream_, asio::buffer(*pushed_.front()),
                    [self = shared_from_this()](ErrorCode error, std::size_t) {
                      self->writing_ = false;
                      if (error) {
                        return self->close();
                      }
                      self->pushed_.pop_front();
                      if (!self->pushed_.empty()) {
                        self->write_stream();
                      }
                    });
}

// --- answers -----------------------------------------------------------------------------------

// To a stranger: the number, and not even who it is that says it.
void Connection::refuse_silently() {
  Response response(http::status::forbidden, 11);
  response.set(http::field::connection, "close");
  response.content_length(0);
  send(std::move(response), true);
}

void Connection::refuse(int status, const std::string& words) {
  answer({status, "application/json", error_body(words), false});
}

void Connection::answer(Answer answer) {
  const bool received = large_ ? large_->is_done() : small_ && small_->is_done();
  end_receiving(answer.status != 503);
  const bool again = received && (large_ ? large_->get().keep_alive() : small_->get().keep_alive());
  const bool film = answer.type == "video/mp4";
  if (film && small_) {
    take_range(answer, view(small_->get()[http::field::range]));
  }
  Response response(static_cast<http::status>(answer.status), 11);
  if (film) {
    response.set(http::field::accept_ranges, "bytes");
  }
  if (!answer.content_range.empty()) {
    response.set(http::field::content_range, answer.content_range);
  }
  response.set(http::field::content_type, answer.type);
  response.set(http::field::cache_control, "no-store");
  response.set("Content-Security-Policy", answer.report ? kReportPolicy : kPagePolicy);
  response.set("Referrer-Policy", "no-referrer");
  response.set("X-Content-Type-Options", "nosniff");
  response.set("Cross-Origin-Resource-Policy", "same-origin");
  if (set_cookie_ && answer.status == 200) {
    response.set(http::field::set_cookie, hub_.gate->cookie());
  }
  response.body() = std::move(answer.body);
  response.keep_alive(again);
  response.prepare_payload();
  send(std::move(response), !received);
}

void Connection::send(Response response, bool unread) {
  response_.emplace(std::move(response));
  stream_.expires_after(kSending);
  http::async_write(
      stream_, *response_, [self = shared_from_this(), unread](ErrorCode error, std::size_t) {
        if (error) {
          return self->close();
        }
        if (!unread && self->response_->keep_alive()) {
          return self->read_request();
        }
        ErrorCode ignored;
        self->stream_.socket().shutdown(asio::ip::tcp::socket::shutdown_send, ignored);
        self->drain_until_ = std::chrono::steady_clock::now() + kDraining;
        self->part_.resize(kBuffer);
        self->drain();
      });
}

void Connection::drain() {
  stream_.expires_at(drain_until_);
  stream_.async_read_some(asio::buffer(part_),
                          [self = shared_from_this()](ErrorCode error, std::size_t bytes) {
                            self->drained_ += bytes;
                            if (error || self->drained_ > kMostDrained) {
                              return self->close();
                            }
                            self->drain();
                          });
}

}  // namespace nocktrail::serve
