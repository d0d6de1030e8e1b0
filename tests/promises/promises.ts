/**
 * Prints whether clubs that are run by the tool's lists get what the lists promise, and what fixed rules of thumb cost
 * at the same service.
 *
 * Call: npm run promises [seasons, default 500] [target, default 0.9] [line or list, default list]
 */
import { clubSeason } from "./club.ts";
import { outcomeOf, rulesAtSameService } from "./compare.ts";

const seasons = Number(process.argv[2] ?? 500);
const target = Number(process.argv[3] ?? 0.9);
const covers = process.argv[4] === "line" ? "line" : "list";
const started = performance.now();
const clubs = Array.from({ length: seasons }, (_, seed) =>
  clubSeason(40_000 + seed, { value: target, covers }),
);
const seconds = (performance.now() - started) / 1000;
const outcome = outcomeOf(clubs);
const percent = (x: number) => `${(100 * x).toFixed(1)} %`;
console.log(
  `${seasons} seasons, target ${target} for ${covers === "line" ? "each line" : "the whole list"}, ${outcome.halves} lists of one line, ${seconds.toFixed(0)} s`,
);
console.log(
  `stated ${percent(outcome.stated)}, achieved ${percent(outcome.achieved)} (se ${percent(outcome.standardError)})`,
);
for (const [line, name] of ["spur", "tyres", "arm"].entries()) {
  const own = outcomeOf(clubs.map((club) => club.filter((half) => half.line === line)));
  console.log(
    `  ${name.padEnd(6)} stated ${percent(own.stated)}, achieved ${percent(own.achieved)} (se ${percent(own.standardError)})`,
  );
}
console.log(
  `all lines at once: stated ${percent(outcome.jointStated)}, achieved ${percent(outcome.jointAchieved)} (se ${percent(outcome.jointStandardError)})`,
);
console.log(
  `tool: bought ${outcome.bought.toFixed(0)}, left over ${outcome.leftOver.toFixed(0)} per club and season`,
);
for (const rule of rulesAtSameService(clubs, outcome, covers))
  console.log(
    `${rule.rule} x ${rule.factor}: achieved ${percent(rule.achieved)}, bought ${rule.bought.toFixed(0)}, left over ${rule.leftOver.toFixed(0)}`,
  );
