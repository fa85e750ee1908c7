"""What ``unrung service`` prints: a systemd unit or a Windows task, and the steps to install it."""
