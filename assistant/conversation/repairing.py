"""The moves after a verdict: what came of the repair, proved by the first failing observation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.conversation.answering import Answering, require_showable
from assistant.conversation.events import AskConfirm, Event, Exact, Repaired, Told, Understood
from assistant.conversation.proving import find_failing, still_failing
from assistant.conversation.stage import Actions, of_kind
from assistant.errors import GivenError, MisuseError

if TYPE_CHECKING:
    from assistant.conversation.scene import Proof
    from assistant.readings.reading import Reading

__all__ = ["Repairing"]


class Repairing(Answering):
    """What is done about repairs."""

    def _take_repair(self, event: Event) -> Actions:
        repaired = of_kind(event, Repaired)
        known = {*self.wording.lexicon.repairs, *(r for r, _ in self.diagnosis.belief().repairs)}
        if repaired.repair not in known:
            raise GivenError(
                f"There is no repair {repaired.repair!r} for this installation.",
                next_step="Use the id of a repair that a verdict named.",
            )
        return self._outcome(repaired.repair, fixed=repaired.fixed)

    def _outcome(self, repair: str, *, fixed: bool, lead: str = "") -> Actions:
        self.ledger.tell(self._before(), (Repaired(repair=repair, fixed=fixed),))
        if fixed:
            return self._conclude(self.diagnosis.verdict(), lead, settled=True)
        return self._next(lead or self._say("not_helped"))

    def _ask_helped(self, _event: Event) -> Actions:
        if self._scene.settled:
            return self._present()
        return (AskConfirm(say=self._say("ask_helped"), candidates=(), slow=self._scene.slow),)

    def _helped(self, event: Event) -> Actions:
        verdict = self._scene.verdict
        if verdict is None or self._scene.settled:
            return self._present()
        proof = find_failing(self.diagnosis, verdict.repair, self._sound)
        if proof is None:
            return self._trust(event)
        self._set(proof=proof)
        step = replace(self.diagnosis.describe(proof.check), expect=proof.healthy)
        return self._open(step, self._say("prove"))

    def _not_helped(self, _event: Event) -> Actions:
        scene = self._scene
        if scene.verdict is None:
            return self._present()
        repair = scene.verdict.repair
        last = self.ledger.last
        if scene.settled and last is not None and isinstance(last.entries[-1], Repaired):
            repair = last.entries[-1].repair
            self._scene = self.ledger.take_back().scene
        return self._outcome(repair, fixed=False)

    def _prove(self, event: Event) -> Actions:
        proof = self._open_proof()
        told = of_kind(event, Understood).told
        fitting = [t.reading for t in told if t.check == proof.check]
        return self._judge(fitting[-1]) if fitting else self._want_reading(event)

    def _prove_exact(self, event: Event) -> Actions:
        exact = of_kind(event, Exact)
        if exact.check == self._open_proof().check:
            require_showable(exact.reading)
            return self._judge(exact.reading)
        self._scene = self._before()
        return self._take_exact(event)

    def _judge(self, reading: Reading) -> Actions:
        """Compare the repeated observation with the one that failed before the repair."""
        proof = self._open_proof()
        after = self.wording.reading(reading)
        if not still_failing(proof, reading):
            before = self.wording.reading(proof.failing)
            held = self._say("proof_held", before=before, after=after)
            return self._outcome(proof.repair, fixed=True, lead=held)
        self.ledger.tell(
            self._before(),
            (
                Repaired(repair=proof.repair, fixed=False),
                Told(check=proof.check, reading=reading),
            ),
        )
        return self._next(self._say("proof_failed", after=after))

    def _open_proof(self) -> Proof:
        if self._scene.proof is None:
            raise MisuseError("No repair is being proved.", next_step="Tell its outcome first.")
        return self._scene.proof

    def _trust(self, _event: Event) -> Actions:
        verdict = self._scene.verdict
        if verdict is None:
            return self._present()
        return self._outcome(verdict.repair, fixed=True, lead=self._say("trusted"))

    def _leave_proof(self, _event: Event) -> Actions:
        self._scene = self._before()
        return self._present()
