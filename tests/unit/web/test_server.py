"""Which threads of a server share a core."""

import threading

from mustwright.web import server


def test_the_main_thread_and_the_workers_share_a_core_and_no_others(monkeypatch):
    kept, end = [], threading.Event()
    monkeypatch.setattr(server, "keep_to_one_core", lambda threads: kept.extend(threads))
    names = ("AnyIO worker thread", "forecast batches")
    threads = [threading.Thread(target=end.wait, args=(10,), name=name) for name in names]
    for thread in threads:
        thread.start()
    server.keep_requests_together()
    end.set()
    for thread in threads:
        thread.join()
    assert threading.main_thread() in kept
    assert threads[0] in kept
    assert threads[1] not in kept


def test_the_name_of_a_worker_is_still_what_it_is_known_by():
    import anyio
    from anyio import to_thread

    seen = []
    anyio.run(to_thread.run_sync, lambda: seen.append(threading.current_thread().name))
    assert seen[0].startswith("AnyIO worker thread")
