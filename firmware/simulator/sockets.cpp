#include "sockets.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include <stdexcept>

namespace simulator {

Reading read_available(int fd, std::string& to) {
  char bytes[4096];
  for (;;) {
    const ssize_t count = ::read(fd, bytes, sizeof bytes);
    if (count > 0) to.append(bytes, size_t(count));
    else if (count < 0 && errno == EINTR) continue;
    else return count < 0 && errno == EAGAIN ? Reading::open : Reading::ended;
  }
}

Reading write_possible(int fd, std::string& from) {
  size_t done = 0;
  Reading far_end = Reading::open;
  while (done < from.size()) {
    const ssize_t count = ::write(fd, from.data() + done, from.size() - done);
    if (count >= 0) done += size_t(count);
    else if (errno != EINTR) {
      if (errno != EAGAIN) far_end = Reading::ended;
      break;
    }
  }
  from.erase(0, done);
  return far_end;
}

Server::Server(uint16_t port) : listening_(::socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0)) {
  const int yes = 1;
  ::setsockopt(listening_, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  sockaddr_in address = {};
  address.sin_family = AF_INET;
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  address.sin_port = htons(port);
  socklen_t size = sizeof address;
  sockaddr* generic = reinterpret_cast<sockaddr*>(&address);
  if (::bind(listening_, generic, size) < 0 || ::listen(listening_, 1) < 0 ||
      ::getsockname(listening_, generic, &size) < 0)
    throw std::runtime_error("port " + std::to_string(port) + ": " + strerror(errno));
  port_ = ntohs(address.sin_port);
}

Server::~Server() {
  ::close(listening_);
  if (client_ >= 0) ::close(client_);
}

bool Server::accept_waiting() {
  if (client_ >= 0) return false;
  client_ = ::accept4(listening_, nullptr, nullptr, SOCK_NONBLOCK);
  if (client_ < 0) return false;
  const int yes = 1;
  ::setsockopt(client_, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
  return true;
}

bool Server::exchange(std::string& received, std::string& unsent) {
  if (client_ < 0) return true;
  const bool open = read_available(client_, received) == Reading::open &&
                    write_possible(client_, unsent) == Reading::open;
  if (open) return true;
  ::close(client_);
  client_ = -1;
  return false;
}

}  // namespace simulator
