"""The same measuring call on a Dask cluster and in a process pool gives the same table."""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pandas as pd
import photos
import pytest

from dyelab import measure

pytestmark = pytest.mark.slow


@pytest.fixture
def paths(tmp_path):
    made = [tmp_path / f"{seed}.jpg" for seed in (11, 12)]
    for path, seed in zip(made, (11, 12), strict=True):
        path.write_bytes(photos.drawn(seed).jpeg())
    return made


@pytest.fixture
def alone(paths):
    return measure.photos(paths).table


def test_a_process_pool(paths, alone):
    seen = []
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        made = measure.photos(paths, executor=pool, progress=lambda *now: seen.append(now))
    pd.testing.assert_frame_equal(made.table, alone)
    assert seen == [(0, 2), (1, 2), (2, 2)]


def test_a_dask_cluster(paths, alone):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        made = measure.photos(paths, executor=client.get_executor())
    pd.testing.assert_frame_equal(made.table, alone)
