from __future__ import annotations

import pytest

from unrung.mail.outbox import (
    HOUR_MS,
    MINUTE_MS,
    Kind,
    Mail,
    MailState,
    Recipient,
    after,
    due,
    expired,
    folded_notice,
    may_tell,
    next_try,
    state_of,
    to_fold,
)
from unrung.mail.smtp import Outcome

LATER = Outcome("retry", "451 greylisted")


def mail(
    kind: Kind = "morning", state: MailState = "waiting", created_ms: int = 0, number: int = 1
) -> Mail:
    return Mail(
        number, f"{kind} {number}", kind, "2026-10-30", "<x@y>", f"Subject {number}", "",
        created_ms, state,
    )


def waiting(attempts: int = 0, at_ms: int = 0, name: str = "ann") -> Recipient:
    return Recipient(1, name, "waiting", attempts, at_ms, "")


def test_pauses_grow_and_stay_within_four_hours() -> None:
    pauses = [next_try(n, 0) for n in range(1, 60)]
    assert pauses == sorted(pauses)
    assert (pauses[0], pauses[-1]) == (5 * MINUTE_MS, 4 * HOUR_MS)


def test_a_refused_log_in_waits_the_longest_pause() -> None:
    tried = after(mail(), waiting(), Outcome("retry", "535", slow=True), 0)
    assert tried.next_try_ms == 4 * HOUR_MS


@pytest.mark.parametrize(
    ("outcome", "state"), [("ok", "sent"), ("refused", "refused"), ("retry", "waiting")]
)
def test_an_outcome_moves_its_recipient(outcome: str, state: str) -> None:
    tried = after(mail(), waiting(), Outcome(outcome, "said"), 1000)  # type: ignore[arg-type]
    assert (tried.state, tried.attempts, tried.last_text) == (state, 1, "said")


def test_a_server_down_all_day_is_tried_until_the_mail_expires() -> None:
    """Replays the tries of a mail that nobody takes: it ends at 18 hours, after a few tries."""
    one, now, tries = waiting(), 0, 0
    while one.state == "waiting":
        now = one.next_try_ms
        one, tries = after(mail(), one, LATER, now), tries + 1
    assert one.state == "expired"
    assert 14 * HOUR_MS < now < 18 * HOUR_MS
    assert 8 <= tries <= 12


@pytest.mark.parametrize(("now_ms", "count"), [(18 * HOUR_MS - 1, 0), (18 * HOUR_MS, 1)])
def test_after_a_long_sleep_an_old_morning_mail_is_dropped(now_ms: int, count: int) -> None:
    sent = waiting(name="bob")._replace(state="sent")
    assert len(expired(mail(), [waiting(), sent], now_ms)) == count


def test_due_are_those_whose_pause_is_over_longest_waiting_first() -> None:
    rows = [waiting(at_ms=50, name="c"), waiting(at_ms=10, name="b"), waiting(at_ms=101, name="a"),
            waiting(at_ms=1, name="d")._replace(state="refused")]
    assert [one.recipient for one in due(rows, 100)] == ["b", "c"]


@pytest.mark.parametrize(
    ("states", "whole"),
    [
        (("sent", "sent"), "sent"),
        (("sent", "waiting"), "waiting"),
        (("sent", "refused"), "partly"),
        (("refused", "refused"), "refused"),
        (("refused", "expired"), "refused"),
        (("folded",), "folded"),
        (("expired",), "expired"),
    ],
)
def test_a_mails_state_follows_from_its_recipients(states: tuple[str, ...], whole: str) -> None:
    rows = [Recipient(1, str(n), s, 1, 0, "") for n, s in enumerate(states)]  # type: ignore[arg-type]
    assert state_of(rows) == whole


def test_unsent_threshold_mails_fold_into_the_next_summary_oldest_first() -> None:
    rows = [mail("threshold", created_ms=9, number=2), mail("threshold", created_ms=3, number=3),
            mail("threshold", "sent", number=4), mail("morning", number=5)]
    folded = to_fold(rows)
    assert [one.id for one in folded] == [3, 2]
    assert folded_notice(folded) == "Not sent in time, told here: Subject 3; Subject 2."
    assert folded_notice([]) == ""


def test_at_most_three_threshold_mails_are_written_for_a_day() -> None:
    rows = [mail("threshold", number=n) for n in range(3)]
    assert may_tell(rows[:2], "2026-10-30")
    assert not may_tell(rows, "2026-10-30")
    assert may_tell(rows, "2026-10-31")
