"""The same batch on a cluster: two workers in processes of their own, the same bytes as here."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from distributed import LocalCluster

from rigging.batch import cluster as batch_cluster
from rigging.batch.find import find_photos
from rigging.batch.run import measure_batch
from shared.errors import UserError
from tests.batch_help import CRASH, FAKE, FAULT, HANG, MISTAKE, content, job, run, small_folder, small_photo


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as running:
        yield running


def test_a_cluster_gives_the_same_bytes(tmp_path: Path, cluster: LocalCluster) -> None:
    photos = small_folder(tmp_path / "photos", 9)
    small_photo(photos / "fault.png", 20, FAULT)
    (photos / "text.jpg").write_text("Dear builder\n" * 20)
    result = run(photos, tmp_path / "cluster", replace(FAKE, cluster=cluster.scheduler_address))
    assert (result.measured, len(result.lines)) == (9, 11)
    run(photos, tmp_path / "here")
    assert content(tmp_path / "cluster") == content(tmp_path / "here")


def test_a_mistake_of_the_user_comes_back(tmp_path: Path, cluster: LocalCluster) -> None:
    small_photo(tmp_path / "p/a.png", 1, MISTAKE)
    with pytest.raises(UserError, match="a made-up mistake"):
        run(tmp_path / "p", tmp_path / "out", replace(FAKE, cluster=cluster.scheduler_address))


def test_a_worker_with_other_code_is_refused(
    tmp_path: Path, cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = small_folder(tmp_path / "photos", 1)
    monkeypatch.setattr("rigging.batch.store.code_digest", lambda: "another")
    with pytest.raises(UserError, match="another version of ribangle"):
        run(photos, tmp_path / "out", replace(FAKE, cluster=cluster.scheduler_address))


def test_no_scheduler_is_told_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_cluster, "CONNECT_SECONDS", 0.5)
    photos = small_folder(tmp_path / "photos", 1)
    for address in ("tcp://127.0.0.1:9", "nonsense://x"):
        with pytest.raises(UserError, match="no scheduler answers"):
            run(photos, tmp_path / "out", replace(FAKE, cluster=address))


def test_workers_on_their_way_are_waited_for(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", 2)
    with LocalCluster(
        n_workers=0, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as late:
        timer = threading.Timer(1.0, late.scale, (1,))
        timer.start()
        result = run(photos, tmp_path / "out", replace(FAKE, cluster=late.scheduler_address))
        timer.join()
    assert result.measured == 2


def test_a_cluster_without_workers_is_told_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_cluster, "CONNECT_SECONDS", 1)
    with (
        LocalCluster(n_workers=0, processes=True, dashboard_address=":0", silence_logs=50) as empty,
        pytest.raises(UserError, match="has no workers"),
    ):
        run(small_folder(tmp_path / "photos", 1), tmp_path / "out", replace(FAKE, cluster=empty.scheduler_address))


def test_a_photo_that_kills_workers_is_named(tmp_path: Path, cluster: LocalCluster) -> None:
    photos = small_folder(tmp_path / "photos", 3)
    small_photo(photos / "crash.png", 22, CRASH)
    result = run(photos, tmp_path / "out", replace(FAKE, cluster=cluster.scheduler_address))
    assert (result.measured, len(result.lines)) == (3, 4)
    assert "the worker died" in (tmp_path / "out/readings.csv").read_text("utf-8")


def test_a_photo_that_hangs_is_named_and_the_others_are_measured(tmp_path: Path, cluster: LocalCluster) -> None:
    photos = small_folder(tmp_path / "photos", 3)
    small_photo(photos / "hangs.png", 23, HANG)
    result = run(photos, tmp_path / "out", replace(FAKE, cluster=cluster.scheduler_address, seconds=4.0))
    assert (result.measured, len(result.lines)) == (3, 4)
    assert "took longer than the limit of 4 s" in (tmp_path / "out/readings.csv").read_text("utf-8")


def test_a_cluster_whose_workers_are_all_gone_hangs_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch_cluster, "DESERTED_SECONDS", 0.5)
    monkeypatch.setattr(batch_cluster, "LOOK_SECONDS", 0.2)
    photos = small_folder(tmp_path / "photos", 12)
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0", silence_logs=50
    ) as dying:
        options = replace(FAKE, cluster=dying.scheduler_address)
        result = measure_batch(
            job(photos),
            find_photos([photos]),
            tmp_path / "out",
            options,
            lambda done, _total: dying.scale(0) if done == 1 else None,
        )
    assert result.measured == 12
    run(photos, tmp_path / "here")
    assert content(tmp_path / "out") == content(tmp_path / "here")
