"""The monthly job in parts on Spark: the driver hands out shards, the workers call the program.

    driver.py ROWEN FLEET WORK SHARDS [FLAGS OF rowen part plan]

ROWEN, FLEET and WORK lie on a file system that driver and workers share. A task that fails, or whose
worker dies, is tried again by Spark; a part that is there is not made twice. MASTER names the cluster
(default: two cores of this machine, three tries per task).
"""
import os
import subprocess
import sys

from pyspark.sql import SparkSession

rowen, fleet, work, shards, *flags = sys.argv[1:]


def part(*args, code=(0,)):
    done = subprocess.run([rowen, "part", *map(str, args)], stderr=subprocess.PIPE, text=True)
    if done.returncode not in code:
        raise RuntimeError(f"rowen part {args[0]}: exit {done.returncode}: {done.stderr}")
    return done.returncode


def each(context, stage):
    """A stage on every shard; Spark sees to its order and to retries."""
    n = int(shards)
    context.parallelize(range(n), n).foreach(lambda shard: part(stage, work, shard, "--workers", 1))


part("plan", fleet, work, "--shards", shards, *flags)
context = SparkSession.builder.master(os.environ.get("MASTER", "local[2,3]")).appName("rowen").getOrCreate().sparkContext
part("read", work)
each(context, "survey")
part("merge", work)
each(context, "judge")
part("rank", work)
each(context, "render")
context.stop()
sys.exit(part("finish", work, code=(0, 3)))  # 3: done, but not with everything
