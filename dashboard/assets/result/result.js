/* The result of a haul and the list of all: takes the operator's code from the address. */
import { codeTaken } from "../shared/operator_link.js";
import { followTouches } from "../shared/touches.js";

async function begin() {
  if (await codeTaken) location.reload(); // what an operator may do stands on the page only now
}

followTouches();
begin();
