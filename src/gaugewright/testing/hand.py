"""A person at a screen, for tests of the workbench: presses buttons over the API."""

import uuid
from typing import Any

import httpx

TANK = {"shape": "box", "length_mm": 1000, "width_mm": 600, "height_mm": 500}
PROBE = {"x_mm": 520, "y_mm": 300, "tip_clearance_mm": 20, "active_length_mm": 460}


def counts_at(litres: float, residue_l: float = 1.2) -> int:
    """Return what the probe in the box reads with so much poured in."""
    wet_mm = (litres + residue_l) / 0.6 - 20
    return max(0, round(wet_mm / 460 * 4095))


class Hand:
    """A person at a screen: records on one job, each press with its own request."""

    def __init__(self, url: str, person: str = "Ann") -> None:
        # Plain http: there is nothing to verify, and reading the certificates takes 0.15 s.
        self.client = httpx.Client(base_url=url, timeout=120.0, verify=False)
        self.person = person
        self.job = ""
        self.number = 0
        self.renew()

    def renew(self) -> dict[str, Any]:
        """Take a token as a page does when it is loaded."""
        session: dict[str, Any] = self.client.get("/api/session").json()
        self.client.headers["x-csrf-token"] = session["csrf_token"]
        return session

    def send(self, path: str, method: str = "POST", **body: Any) -> httpx.Response:
        """Send one recording on the job."""
        whole = {
            "person": self.person,
            "on": self.number,
            "request_id": str(uuid.uuid4()),
            **body,
        }
        return self.client.request(method, f"/api/jobs/{self.job}{path}", json=whole)

    def record(self, path: str, method: str = "POST", **body: Any) -> dict[str, Any]:
        """Record on the job; it must be taken."""
        answer = self.send(path, method, **body)
        assert answer.status_code == 200, answer.text
        self.number = answer.json()["number"]
        found: dict[str, Any] = answer.json()
        return found

    def open_job(self, **body: Any) -> None:
        """Open a job and work on it from now on."""
        whole = {"person": self.person, "customer": "Quarry Yard", "vehicle": "Tipper 4", **body}
        answer = self.client.post("/api/jobs", json=whole)
        assert answer.status_code == 201, answer.text
        self.job, self.number = answer.json()["job"]["job"], answer.json()["number"]

    def begin(self) -> None:
        """Describe the box and begin its fill."""
        self.record("/tanks/main", "PUT", tank=TANK, probe=PROBE)
        self.record("/tanks/main/fill", residual_l=1.2, u_residual_l=0.3)

    def pour(self, added_l: float, total_l: float, **more: Any) -> dict[str, Any]:
        """Record a pour with the counts that the box then shows."""
        return self.record("/tanks/main/pours", added_l=added_l, counts=counts_at(total_l), **more)

    def state(self) -> dict[str, Any]:
        """Give the picture of the job."""
        found: dict[str, Any] = self.client.get(f"/api/jobs/{self.job}").json()
        return found
