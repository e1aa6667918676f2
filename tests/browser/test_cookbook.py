"""The cookbook's page for a browser plays what the service's performance says."""

from __future__ import annotations

import math

import requests
from selenium import webdriver
from selenium.webdriver.common.by import By
from werkzeug import Request, Response
from werkzeug.middleware.dispatcher import DispatcherMiddleware

from browser.browsing import wait
from docs.blocks import MANUAL, blocks
from shortway.api import create_app
from support.loopback import served

_CATCH = """
window.struck = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.struck.push([this.frequency.value, when]);
  return start.call(this, when);
};
"""


def test_the_player_plays_the_performance(driver: webdriver.Chrome) -> None:
    (block,) = (b for b in blocks(MANUAL / "cookbook.md") if b.kind == "html")

    @Request.application
    def player(_: Request) -> Response:
        return Response(block.text, mimetype="text/html")

    with served(DispatcherMiddleware(create_app(), {"/player": player})) as url:
        driver.get(f"{url}/player")
        driver.execute_script(_CATCH)
        driver.find_element(By.ID, "play").click()
        measures = [[{"symbol": symbol}] for symbol in ("Dm7", "G7", "Cmaj7")]
        request = {"chart": {"measures": measures}, "tempo": 96}
        events = requests.post(f"{url}/v1/performances", json=request, timeout=10).json()["events"]
        wait(driver, lambda d: len(d.execute_script("return window.struck")) == len(events))
        struck = driver.execute_script("return window.struck")
    keys = [round(69 + 12 * math.log2(frequency / 440)) for frequency, _ in struck]
    assert keys == [event["midi"] for event in events]
    delays = [when - event["time"] for (_, when), event in zip(struck, events, strict=True)]
    assert max(delays) - min(delays) < 0.1
