"""A corpus in shards: a folder of files that together hold what one file would.

In: a corpus file. Out: a folder of shards with a small index, and one file again.

``index`` says which shards make up a folder and refuses what is not among them;
``merging`` puts together what several shards say; ``routing`` says which shard a tune
stands in; ``splitting`` and ``joining`` make folders of files and files of folders;
``checking`` looks at all of it. Read first: ``index``.
"""
