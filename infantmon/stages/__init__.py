"""Signal in, findings out. One stage a file; none imports another."""
