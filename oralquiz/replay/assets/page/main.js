// The replay page's script. page_script.py puts its modules into the page, which stands alone.

import "./controls.js";
import { data } from "./data.js";
import { load, writeSums } from "./sums.js";

writeSums();
load(Math.max(0, data.sums.findIndex((one) => !one.right))); // what went wrong comes first
