// One entry; each module is one behaviour and listens on data attributes, so content that is swapped in needs no binding.
import "./scan.js";
import "./keypad.js";
import "./saved.js";
import "./guard.js";
import "./table-keys.js";
import "./confirm.js";
import "./confirmation.js";
import "./goes-on.js";
import "./balance.js";
