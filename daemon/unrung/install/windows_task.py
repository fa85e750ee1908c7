"""A Windows Task Scheduler definition: starts with the PC, no time limit, also on battery, starts
again after a failure. Elements in the order of the schema of MS-TSCH section 2.5."""

from __future__ import annotations

from pathlib import PureWindowsPath
from xml.sax.saxutils import escape

TASK = """\
<?xml version="1.0" encoding="UTF-16"?>
<Task version="1.2" xmlns="http://schemas.microsoft.com/windows/2004/02/mit/task">
  <RegistrationInfo>
    <Description>{description}</Description>
  </RegistrationInfo>
  <Triggers>
    <BootTrigger>
      <Enabled>true</Enabled>
      <Delay>PT1M</Delay>
    </BootTrigger>
  </Triggers>
  <Principals>
    <Principal id="Author">
      <UserId>S-1-5-19</UserId>
      <RunLevel>LeastPrivilege</RunLevel>
    </Principal>
  </Principals>
  <Settings>
    <MultipleInstancesPolicy>IgnoreNew</MultipleInstancesPolicy>
    <DisallowStartIfOnBatteries>false</DisallowStartIfOnBatteries>
    <StopIfGoingOnBatteries>false</StopIfGoingOnBatteries>
    <AllowHardTerminate>true</AllowHardTerminate>
    <StartWhenAvailable>true</StartWhenAvailable>
    <RunOnlyIfNetworkAvailable>false</RunOnlyIfNetworkAvailable>
    <AllowStartOnDemand>true</AllowStartOnDemand>
    <Enabled>true</Enabled>
    <Hidden>false</Hidden>
    <RunOnlyIfIdle>false</RunOnlyIfIdle>
    <WakeToRun>false</WakeToRun>
    <ExecutionTimeLimit>PT0S</ExecutionTimeLimit>
    <Priority>7</Priority>
    <RestartOnFailure>
      <Interval>PT1M</Interval>
      <Count>999</Count>
    </RestartOnFailure>
  </Settings>
  <Actions Context="Author">
    <Exec>
      <Command>{command}</Command>
      <Arguments>{arguments}</Arguments>
      <WorkingDirectory>{folder}</WorkingDirectory>
    </Exec>
  </Actions>
</Task>
"""

STEPS = """\
1. Save the lines from "<?xml" on as unrung-task.xml (Notepad: encoding UTF-16 LE).
2. Give the account "LOCAL SERVICE" the right to change the config folder and to read and change
   the watched folders. A folder on another PC: write it as \\\\server\\share\\folder, never as a drive
   letter, and run the task under an account that may open it.
3. In a command prompt as administrator:
     schtasks /create /tn "Unrung" /xml unrung-task.xml
     schtasks /run /tn "Unrung"
4. See that it works:
     "{python}" -m unrung status "{config}"
"""


def windows_task(config: str, python: str, name: str) -> str:
    """The task's XML. Paths must be absolute Windows paths."""
    return TASK.format(
        description=_xml(f"Unrung: draught pours against till rings ({name})"),
        command=_xml(str(PureWindowsPath(python))), arguments=_xml(f'-m unrung run "{config}"'),
        folder=_xml(config),
    )


def _xml(text: str) -> str:
    """Letters beyond ASCII as references: what a console writes into a file may lack them."""
    return escape(text).encode("ascii", "xmlcharrefreplace").decode("ascii")


def windows_steps(config: str, python: str) -> str:
    """What to do with the task."""
    return STEPS.format(config=config, python=python)
