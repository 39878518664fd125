// The built program as a process beside the test.
#pragma once

#include <fcntl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <functional>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "support.hpp"

namespace nocktrail::session::test {

// Starts it with its own home, so that no logbook of the user is touched and no profile read.
class Program {
 public:
  struct Other {};  // the command is not ours alone

  Program(const Folder& scratch, const std::string& name, std::vector<std::string> arguments)
      : Program(scratch, name, with_program(std::move(arguments)), Other{}) {}
  // `command`: the path of the program and its arguments. In a group of its own, as a terminal's.
  Program(const Folder& scratch, const std::string& name, std::vector<std::string> command, Other)
      : out_(scratch / (name + ".out")), err_(scratch / (name + ".err")) {
    const std::string data = (scratch / "data").string();
    pid_ = ::fork();
    if (pid_ == 0) {
      ::setpgid(0, 0);
      ::setenv("XDG_DATA_HOME", data.c_str(), 1);
      ::setenv("XDG_CONFIG_HOME", data.c_str(), 1);
      redirect(out_, STDOUT_FILENO);
      redirect(err_, STDERR_FILENO);
      std::vector<char*> argv;
      for (std::string& argument : command) {
        argv.push_back(argument.data());
      }
      argv.push_back(nullptr);
      ::execv(argv[0], argv.data());
      ::_exit(127);
    }
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;
  ~Program() {
    if (pid_ > 0) {
      ::kill(-pid_, SIGKILL);
      ::kill(pid_, SIGKILL);  // before it had a group of its own
      ::waitpid(pid_, nullptr, 0);
    }
  }

  std::string out() const { return content(out_); }
  std::string err() const { return content(err_); }
  void signal(int number) const { ::kill(pid_, number); }
  // As a terminal does: all that it began get it.
  void signal_group(int number) const { ::kill(-pid_, number); }
  pid_t pid() const { return pid_; }

  // Exit status; 1000 plus the signal that ended it; -1 when it does not end in time.
  int wait(std::chrono::seconds limit = std::chrono::seconds(180)) {
    const auto end = std::chrono::steady_clock::now() + limit;
    while (std::chrono::steady_clock::now() < end) {
      int status = 0;
      if (::waitpid(pid_, &status, WNOHANG) == pid_) {
        pid_ = -1;
        return WIFEXITED(status) ? WEXITSTATUS(status) : 1000 + WTERMSIG(status);
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    return -1;
  }

 private:
  static std::vector<std::string> with_program(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), NOCKTRAIL_PROGRAM);
    return arguments;
  }

  static void redirect(const fs::path& path, int to) {
    const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0666);
    ::dup2(fd, to);
    ::close(fd);
  }

  fs::path out_;
  fs::path err_;
  pid_t pid_ = -1;
};

// Polls `condition`; the limit only bounds a failure.
inline bool eventually(const std::function<bool()>& condition,
                       std::chrono::seconds limit = std::chrono::seconds(120)) {
  const auto end = std::chrono::steady_clock::now() + limit;
  while (!condition()) {
    if (std::chrono::steady_clock::now() > end) {
      return false;
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(20));
  }
  return true;
}

inline fs::path test_clip(const std::string& name) {
  return fs::path(NOCKTRAIL_TEST_CLIPS) / name;
}

}  // namespace nocktrail::session::test
