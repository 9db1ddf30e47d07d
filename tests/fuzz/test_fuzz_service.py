"""Requests drawn from the service's own document: no failure, no answer that the document does not declare.

A longer run: `python3 run.py test tests/fuzz --fuzz-cases 20000 --fuzz-seed 7 -s`.
"""

import pytest
from fuzz.fuzz_rig import Fuzzer, serving

OF_PICTURES = "ignore:.*:UserWarning:PIL"  # the decoder warns of damaged files before it refuses them
pytestmark = [
    pytest.mark.filterwarnings(OF_PICTURES),
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]
UNANSWERED_SHARE = 0.15
"""Of the operations, at most so many may never have been answered with success: else little was looked at."""


def show(findings, capsys):
    with capsys.disabled():
        print(f"\n  {findings.cases} cases, statuses {dict(sorted(findings.statuses.items()))}", end="")


def test_every_answer_to_a_drawn_request_is_declared(tmp_path, cases, first_seed, capsys):
    with serving(tmp_path) as service:
        fuzzer = Fuzzer(service)
        findings = fuzzer.run(cases, first_seed, costly_share=0.5)
    show(findings, capsys)
    assert findings.wrong == {}, findings.report()
    assert not any(status >= 500 for status in findings.statuses)
    assert set(findings.seconds) == {f"{one.method.upper()} {one.path}" for one in fuzzer.operations}
    never = [name for name in findings.seconds if not findings.answered[name]]
    assert len(never) <= UNANSWERED_SHARE * len(findings.seconds), never


def test_every_answer_along_a_history_is_declared(tmp_path, cases, first_seed, capsys):
    with serving(tmp_path) as service:
        findings = Fuzzer(service).run_histories(max(20, cases // 20), 8, first_seed)
    show(findings, capsys)
    assert findings.wrong == {}, findings.report()
    assert not any(status >= 500 for status in findings.statuses)
    followed = [name for name in findings.answered if "{" in name and findings.answered[name]]
    assert len(followed) >= 3, findings.report()
