// One connection: reads requests one after another, and never makes another connection wait. All
// its functions run in the server's one network thread; what takes time is posted to the pools.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/asio/thread_pool.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http/buffer_body.hpp>
#include <boost/beast/http/empty_body.hpp>
#include <boost/beast/http/message.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/string_body.hpp>
#include <chrono>
#include <deque>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "answers.hpp"
#include "gate.hpp"
#include "incoming.hpp"
#include "parts.hpp"

namespace nocktrail::serve {

class Connection;

// What all connections share. Of one thread, but for the pools.
struct Hub {
  explicit Hub(int threads) : io(threads) {}

  std::filesystem::path folder;
  Answers* answers = nullptr;
  const Gate* gate = nullptr;
  IncomingLimits limits;
  std::size_t most_streams = 0;
  std::size_t most_incoming = 0;
  std::size_t incoming = 0;
  Parts parts;                                               // uploads that were cut off
  std::map<std::string, std::weak_ptr<Connection>> uploads;  // that come in, by their name
  std::vector<std::weak_ptr<Connection>> connections;
  std::vector<std::weak_ptr<Connection>> streams;
  // Connections that still wait go with these two, while the rest is there.
  boost::asio::io_context io;
  // Answers are looked up by some threads; what changes the folder, one thing at a time, by one;
  // bytes are written by others, so that a slow disk holds up nothing else.
  boost::asio::thread_pool lookups{2};
  boost::asio::thread_pool changes{1};
  boost::asio::thread_pool writers{2};
  // Frames are decoded by one thread, marks tried and replays made by another; so many wait for
  // either.
  std::size_t most_waiting = 12;
  std::size_t frames_asked = 0;
  std::size_t marks_tried = 0;
  boost::asio::thread_pool frames{1};
  boost::asio::thread_pool trials{1};
};

class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(boost::asio::ip::tcp::socket socket, Hub& hub);
  ~Connection();

  void start() { read_request(); }
  // Part of an event stream.
  void push(const std::shared_ptr<const std::string>& text);
  void close();

  // Waits for a request, since when.
  bool idle() const { return idle_; }
  std::chrono::steady_clock::time_point since() const { return since_; }

 private:
  template <typename Body>
  using Parser = boost::beast::http::request_parser<Body>;
  using Response = boost::beast::http::response<boost::beast::http::string_body>;

  template <typename Then>
  static void hand_back(std::shared_ptr<Connection> self, Then then);

  void read_request();
  void judge_request();
  bool admitted() const;
  void serve_request();
  void read_small_body();
  void look_up();
  void make_change();
  void work(boost::asio::thread_pool& pool, std::size_t* waiting);

  void receive();
  void begin_receiving();
  void continue_100();
  void read_part();
  void write_part(std::size_t bytes);
  void keep();
  // `refused`: with an answer that no further try changes.
  void end_receiving(bool refused);
  void cut_off(std::size_t bytes);
  std::uint64_t progress() const;
  void tell_upload();

  void stream();
  void watch_stream();
  void write_stream();

  void refuse_silently();
  void refuse(int status, const std::string& words);
  void answer(Answer answer);
  void send(Response response, bool unread);
  void drain();

  boost::beast::tcp_stream stream_;
  Hub& hub_;
  boost::beast::flat_buffer buffer_;
  std::optional<Parser<boost::beast::http::empty_body>> head_;
  std::optional<Parser<boost::beast::http::string_body>> small_;
  std::optional<Parser<boost::beast::http::buffer_body>> large_;
  std::optional<Response> response_;
  Target target_;
  bool set_cookie_ = false;

  std::vector<char> part_;
  std::unique_ptr<Incoming> incoming_;
  bool counted_ = false;  // among those received at once
  std::string upload_;    // its name, where its page may go on with it
  std::uint64_t from_ = 0;
  std::uint64_t parts_ = 0;  // bytes of the parts before this one
  bool whole_ = false;       // it is kept as a clip
  // What had come when its page last asked for it, and when that was less before.
  std::optional<std::uint64_t> told_;
  std::chrono::steady_clock::time_point told_at_{};
  std::size_t drained_ = 0;
  std::chrono::steady_clock::time_point drain_until_{};

  bool streaming_ = false;
  bool writing_ = false;
  std::deque<std::shared_ptr<const std::string>> pushed_;

  bool idle_ = false;
  std::chrono::steady_clock::time_point since_{};
};

}  // namespace nocktrail::serve
