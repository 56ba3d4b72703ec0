#include "cable.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include <stdexcept>

namespace simulator {
namespace {

constexpr size_t most_unsent = 1 << 24;

}  // namespace

Cable::Cable(uint16_t tcp_port)
    : server_(tcp_port), master_(::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK)) {
  char name[128];
  if (master_ < 0 || ::grantpt(master_) < 0 || ::unlockpt(master_) < 0 ||
      ::ptsname_r(master_, name, sizeof name) != 0)
    throw std::runtime_error(std::string("no pseudo-terminal: ") + strerror(errno));
  terminal_ = name;
  // Raw from the beginning, and opened once so that a terminal nobody holds reads as hung up.
  const int slave = ::open(name, O_RDWR | O_NOCTTY);
  termios settings;
  if (slave < 0 || ::tcgetattr(slave, &settings) < 0)
    throw std::runtime_error(std::string("no pseudo-terminal: ") + strerror(errno));
  ::cfmakeraw(&settings);
  ::tcsetattr(slave, TCSANOW, &settings);
  ::close(slave);
}

Cable::~Cable() { ::close(master_); }

bool Cable::terminal_open() const {
  pollfd state = {master_, 0, 0};
  ::poll(&state, 1, 0);
  return !(state.revents & POLLHUP);
}

void Cable::wait_for(std::vector<pollfd>& events) const {
  // A terminal that nobody holds would wake at once for ever.
  if (terminal_was_open_)
    events.push_back({master_, short(to_terminal_.empty() ? POLLIN : POLLIN | POLLOUT), 0});
  if (server_.connected())
    events.push_back({server_.client_fd(), short(to_tcp_.empty() ? POLLIN : POLLIN | POLLOUT), 0});
  else events.push_back({server_.listening_fd(), POLLIN, 0});
}

bool Cable::exchange(std::string& from_host) {
  bool opened = server_.accept_waiting();
  if (!server_.exchange(from_host, to_tcp_)) to_tcp_.clear();
  const bool open = terminal_open();
  opened |= open && !terminal_was_open_;
  // The last bytes of one who has closed are still there to be read.
  if (open || terminal_was_open_) {
    read_available(master_, from_host);
    write_possible(master_, to_terminal_);
  }
  if (!open) to_terminal_.clear();
  terminal_was_open_ = open;
  return opened;
}

void Cable::send(const std::string& bytes) {
  if (server_.connected() && to_tcp_.size() < most_unsent) to_tcp_ += bytes;
  if (terminal_was_open_ && to_terminal_.size() < most_unsent) to_terminal_ += bytes;
}

}  // namespace simulator
