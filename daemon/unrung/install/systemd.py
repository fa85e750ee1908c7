"""A hardened systemd unit for one config folder (systemd.service(5), systemd.exec(5))."""

from __future__ import annotations

from pathlib import Path
from shlex import quote

UNIT = """\
[Unit]
Description=Unrung: draught pours against till rings ({name})
After=network-online.target
Wants=network-online.target
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
ExecStart={python} -m unrung run {config}
WatchdogSec=300
TimeoutStopSec=15
Restart=on-failure
RestartSec=30
# 2: the settings cannot be used; 4: the store cannot. Starting again does not
# help, a person is needed.
RestartPreventExitStatus=2 4
User={user}
StateDirectory=unrung
UMask=0077
{credential}\
NoNewPrivileges=yes
ProtectSystem=strict
ReadWritePaths={writable}
PrivateTmp=yes
PrivateDevices=yes
ProtectKernelTunables=yes
ProtectKernelModules=yes
ProtectControlGroups=yes
ProtectClock=yes
ProtectHostname=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
CapabilityBoundingSet=

[Install]
WantedBy=multi-user.target
"""

STEPS = """\
# 1. Make an account for the service and let it own the config folder:
#      useradd --system --home-dir {config} --shell /usr/sbin/nologin {user}
#      chown -R {user} {config}
{others}#    It must also be able to read and move the files in the watched folders.
# 2. Put the mail password, if there is one, where only root reads it:
#      install -m 600 /dev/null /etc/unrung-mail-password    and write it there
# 3. Save this under the name
#      /etc/systemd/system/{unit}
#    and then:
#      systemctl daemon-reload
#      systemctl enable --now {unit}
#      systemctl status {unit}
"""

OTHERS = """\
#    These folders must be there when it starts, and let it write:
#      mkdir -p {folders}
"""


def unit_name(name: str) -> str:
    """A unit's file name from the venue's: letters, digits and dashes."""
    plain = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name.lower())
    return "unrung-" + "-".join(part for part in plain.split("-") if part) + ".service"


def systemd_unit(
    config: Path, python: Path, name: str, *, folders: tuple[Path, ...] = (), password_file: str = "",
    user: str = "unrung",
) -> str:
    """The unit with its steps as remarks. ``folders`` are the watched ones outside ``config``."""
    unit = unit_name(name)
    writable = " ".join(_escaped(path) for path in (config, *folders))
    credential = ""
    if password_file:
        credential = "LoadCredential=mail-password:/etc/unrung-mail-password\n"
    text = UNIT.format(
        name=name.replace("%", "%%").replace("\n", " "), python=_escaped(python), config=_escaped(config),
        writable=writable, credential=credential, user=user,
    )
    others = OTHERS.format(folders=" ".join(quote(str(path)) for path in folders)) if folders else ""
    return STEPS.format(config=quote(str(config)), user=user, unit=unit, others=others) + "\n" + text


def _escaped(path: Path) -> str:
    """A path as a unit file takes it: percent signs doubled, quoted where it holds blanks."""
    text = str(path).replace("%", "%%").replace("\\", "\\\\").replace('"', '\\"')
    return f'"{text}"' if any(letter.isspace() for letter in text) else text
